"""The check that what lies in a drawer stays below the drawer's height and below the trays over it."""

from collections.abc import Iterator, Mapping

from worker.layout.model.plan import DrawerPlan, Stored
from worker.solids.mesh import Mesh
from worker.spec.manifest import Check
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["check_contents"]


def check_contents(drawer: DrawerPlan, meshes: Mapping[str, Mesh]) -> Iterator[Check]:
    """Yield the check `contents`: how far things reach above the least of what is over them, in mm.

    That is the drawer's height, or the feet of a tray that is lifted out.

    Args:
        drawer: as laid out.
        meshes: by mark, as read back, mm.

    Raises:
        KeyError: when a mark that is placed has no mesh.
    """
    if not drawer.contents:
        return
    above = [(*_footprint(drawer, tray.placement, meshes), tray.z) for tray in drawer.upper]
    reached = [(_reach(drawer, entry, above), entry.item) for entry in drawer.contents]
    most, item = max(reached)
    yield Check(
        name="contents", passed=most <= LENGTH_EPSILON, value=round(max(most, 0.0), 3),
        limit="0 mm above the drawer's height, or into a tray over it", subject=f"{drawer.name}: {item}",
    )  # fmt: skip


def _footprint(drawer: DrawerPlan, placement: int, meshes: Mapping[str, Mesh]) -> tuple[float, float, float, float]:
    """Return what a tray covers, with all of its pieces: the least and the greatest x and y, in mm."""
    jointed = next((tray.pieces for tray in drawer.jointed if tray.pieces[0] == placement), (placement,))
    lows, highs = [], []
    for index in jointed:
        place = drawer.placements[index]
        low, high = meshes[place.mark].bounds
        across, back = (high - low)[:2]
        turned = place.turn % 180 != 0
        size = (back, across) if turned else (across, back)
        lows.append(place.at[:2])
        highs.append((place.at[0] + size[0], place.at[1] + size[1]))
    return (
        *(min(low[axis] for low in lows) for axis in (0, 1)),
        *(max(high[axis] for high in highs) for axis in (0, 1)),
    )


def _reach(drawer: DrawerPlan, entry: Stored, above: list[tuple[float, float, float, float, float]]) -> float:
    """Return how far things reach above what is over them, in mm; negative is room left."""
    bottom = 0.0 if entry.placement is None else drawer.placements[entry.placement].at[2]
    (x, y, z), (wide, deep, high) = entry.at, entry.size
    over = [
        tray_z
        for left, front, right, back, tray_z in above
        if tray_z > bottom + LENGTH_EPSILON
        and min(x + wide, right) - max(x, left) > LENGTH_EPSILON
        and min(y + deep, back) - max(y, front) > LENGTH_EPSILON
    ]
    return z + high - min([drawer.size[2], *over])

"""The check that what lies in a drawer stays below the drawer's height and below the trays over it."""

from collections.abc import Iterator, Mapping, Sequence

from worker.layout.model.plan import DrawerPlan, Stored
from worker.output.checks.placed_boxes import Box, mesh_size, tray_box
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
    marks = {drawer.placements[index].mark for tray in drawer.upper for index in drawer.pieces_of(tray.placement)}
    sizes = {mark: mesh_size(meshes[mark]) for mark in marks}
    above = [tray_box(drawer, tray.placement, sizes) for tray in drawer.upper]
    reached = [(_reach(drawer, entry, above), entry.item) for entry in drawer.contents]
    most, item = max(reached)
    yield Check(
        name="contents", passed=most <= LENGTH_EPSILON, value=round(max(most, 0.0), 3),
        limit="0 mm above the drawer's height, or into a tray over it", subject=f"{drawer.name}: {item}",
    )  # fmt: skip


def _reach(drawer: DrawerPlan, entry: Stored, above: Sequence[Box]) -> float:
    """Return how far things reach above what is over them, in mm; negative is room left."""
    bottom = 0.0 if entry.placement is None else drawer.placements[entry.placement].at[2]
    (x, y, z), (wide, deep, high) = entry.at, entry.size
    over = [
        feet
        for left, front, feet, right, back, _ in above
        if feet > bottom + LENGTH_EPSILON
        and min(x + wide, right) - max(x, left) > LENGTH_EPSILON
        and min(y + deep, back) - max(y, front) > LENGTH_EPSILON
    ]
    return z + high - min([drawer.size[2], *over])

"""The checks that panels go together and stand, on the parts as read back."""

from collections.abc import Iterator, Mapping
from itertools import pairwise
from math import sqrt
from typing import Final

import manifold3d

from worker.layout.model.plan import DrawerPlan, PanelPlan
from worker.layout.model.shapes import Placement
from worker.layout.panels.profile import BASE_AIR, LAP_SPARE, PRESS
from worker.solids.mesh import Mesh
from worker.spec.drawer.joint import FIRST_LAYER_RELIEF
from worker.spec.manifest import Check
from worker.spec.tolerances import CLEARANCE_SLACK, SHARED_VOLUME

__all__ = ["check_panels", "meant_to_touch", "panel_solids"]

#: Distance beyond a gap up to which it is measured, mm.
_BEYOND: Final = 0.1
#: Volume in mm3 from which parts run into each other.
_CONTACT: Final = 0.5
#: Steps in which a panel is lifted out of those that it crosses, as shares of the lower panel's height.
_LIFTS: Final = (0.1, 0.25, 0.5, 0.75, 1.0)
#: Share of a shoe's press by which it may be off as measured.
_PRESS_SLACK: Final = 0.05
#: Distance from a shoe's ends between which it is measured, mm: clear of the first layers and of its mark.
_OFF: Final = 0.5
#: Height below the tiles' upper faces at which they are looked at, mm: below their marks; least area in mm2 on which a
#: part rests: one land of two lines below a strip.
_BELOW: Final = 0.6
_CARRIED: Final = 2.0
_DECIMALS: Final = 4


def meant_to_touch(drawer: DrawerPlan) -> frozenset[frozenset[int]]:
    """Return the pairs of placements that overlap as laid out: a strip and the shoe that gives way for it."""
    return frozenset(
        frozenset((shoe, piece)) for panel in drawer.panels for shoe in panel.shoes for piece in panel.pieces
    )


def check_panels(drawer: DrawerPlan, solids: Mapping[int, manifold3d.Manifold]) -> Iterator[Check]:
    """Yield the checks of a drawer's panels.

    `lap`: where panels cross, and `tab`, where strips join, there is the planned air. `lowered`: a panel along y can be
    lowered onto those along x. `tab lock`: strips pulled apart beyond their play run into each other. `clip`: there is
    air between a clip and its strips. `shoe press`: a strip is as much too long for its shoes as their wings give way;
    `shoe`: it has air between the cheeks. `upright`: it reaches what it stands on, and its own height. `foot`: a foot
    has the joint's clearance in its socket, and `foot lock`: pushed aside by more, it runs into the floor. `carried`: a
    strip, a shoe or a clip rests on tiles. `buckling`: the shoes press less than Euler's load.

    Args:
        drawer: as laid out.
        solids: of the placements of panels by index, as read back, in their places, mm.
    """
    for check in (_laps, _tabs, _clips, _shoes, _stands, _on_tiles, _buckling):
        yield from check(drawer, solids)


def panel_solids(drawer: DrawerPlan, meshes: Mapping[str, Mesh]) -> dict[int, manifold3d.Manifold]:
    """Return the solids of panels' parts, and of the tiles that they stand on, by their placement's index.

    Args:
        drawer: as laid out.
        meshes: by mark, as they stand.
    """
    indices = [index for panel in drawer.panels for index in (*panel.pieces, *panel.shoes, *panel.clips, *panel.feet)]
    if any(panel.z for panel in drawer.panels):
        indices += _tiles(drawer)
    return {index: _placed(meshes[drawer.placements[index].mark], drawer.placements[index]) for index in indices}


def _placed(mesh: Mesh, place: Placement) -> manifold3d.Manifold:
    turned = mesh.manifold().rotate((0.0, 0.0, float(place.turn)))
    box = turned.bounding_box()
    return turned.translate(tuple(at - low for at, low in zip(place.at, box[:3], strict=True)))


def _check(name: str, least: float, worst: tuple[float, str] | None) -> Iterator[Check]:
    if worst is not None:
        yield Check(
            name=name, passed=worst[0] >= least - CLEARANCE_SLACK, value=round(worst[0], _DECIMALS),
            limit=f"a gap of at least {least:g} mm less {CLEARANCE_SLACK:g} mm for rounding", subject=worst[1],
        )  # fmt: skip


def _crossings(drawer: DrawerPlan) -> Iterator[tuple[PanelPlan, int, PanelPlan, int]]:
    """Yield each crossing: the panel along x and its strip there, the panel along y and its strip."""
    for panel in drawer.panels:
        if panel.along == "x":
            for at, other in zip(panel.crossings, panel.crossed, strict=True):
                deep = drawer.panels[other]
                yield panel, _strip_at(panel, at), deep, _strip_at(deep, panel.at)


def _strip_at(panel: PanelPlan, at: float) -> int:
    return panel.pieces[sum(splice < at for splice in panel.splices)]


def _laps(drawer: DrawerPlan, solids: Mapping[int, manifold3d.Manifold]) -> Iterator[Check]:
    gaps, lifted = [], []
    for flat, first, deep, other in _crossings(drawer):
        subject = f"{drawer.name}: {flat.name} and {deep.name}"
        gaps.append((solids[first].min_gap(solids[other], flat.air + _BEYOND), subject))
        height = min(flat.height, deep.height)
        shared = max((solids[first] ^ solids[other].translate((0.0, 0.0, height * lift))).volume() for lift in _LIFTS)
        lifted.append((shared, subject))
    if gaps:
        # the sides keep the air, the bottoms of the two slots twice the spare depth
        yield from _check("lap", min(drawer.panels[0].air, 2.0 * LAP_SPARE), min(gaps))
        worst = max(lifted)
        yield Check(
            name="lowered", passed=worst[0] <= SHARED_VOLUME, value=round(worst[0], _DECIMALS),
            limit=f"at most {SHARED_VOLUME:g} mm3 of overlap on a panel's way down onto another", subject=worst[1],
        )  # fmt: skip


def _tabs(drawer: DrawerPlan, solids: Mapping[int, manifold3d.Manifold]) -> Iterator[Check]:
    gaps, free = [], 0
    subject = drawer.name
    for panel in drawer.panels:
        for first, other in pairwise(panel.pieces):
            gaps.append((solids[first].min_gap(solids[other], panel.air + _BEYOND), f"{drawer.name}: {panel.name}"))
            pulled = solids[other].translate(_along(panel, panel.air * sqrt(2.0) + _BEYOND))
            if (solids[first] ^ pulled).volume() < _CONTACT:
                free, subject = free + 1, f"{drawer.name}: {panel.name}"
    if gaps:
        yield from _check("tab", drawer.panels[0].air, min(gaps))
        yield Check(
            name="tab lock", passed=free == 0, value=free, limit="0 splices whose strips can be pulled apart",
            subject=subject,
        )  # fmt: skip


def _clips(drawer: DrawerPlan, solids: Mapping[int, manifold3d.Manifold]) -> Iterator[Check]:
    gaps = [
        (solids[clip].min_gap(solids[piece], panel.air + _BEYOND), f"{drawer.name}: {panel.name}")
        for panel in drawer.panels
        for clip in (*panel.clips, *panel.feet)
        for piece in panel.pieces
    ]
    if gaps:
        # the cheeks keep the air, the base its own
        yield from _check("clip", min(drawer.panels[0].air, BASE_AIR), min(gaps))


def _shoes(drawer: DrawerPlan, solids: Mapping[int, manifold3d.Manifold]) -> Iterator[Check]:
    """Yield the check of how much a strip overlaps its shoe, and of its air once it is moved back by that much."""
    presses, gaps = [], []
    for panel in drawer.panels:
        for shoe in panel.shoes:
            subject = f"{drawer.name}: {panel.name}"
            box = solids[shoe].bounding_box()
            at_start = box[0 if panel.along == "x" else 1] < (panel.start + panel.end) / 2.0
            piece = panel.pieces[0 if at_start else -1]
            low, high = box[2] + _OFF, box[5] - _OFF
            both = solids[shoe] ^ solids[piece]
            shared = both.trim_by_plane((0.0, 0.0, 1.0), low).trim_by_plane((0.0, 0.0, -1.0), -high).volume()
            # the first layers of a strip are cut back at 45 degrees
            section = (panel.thickness - FIRST_LAYER_RELIEF**2 / (2.0 * panel.overlap)) * (high - low)
            presses.append((abs(shared / section - panel.overlap), subject))
            back = (panel.overlap + panel.air) * (1.0 if at_start else -1.0)
            gaps.append((solids[piece].translate(_along(panel, back)).min_gap(solids[shoe], panel.air), subject))
    if presses:
        worst = max(presses)
        limit = PRESS * _PRESS_SLACK
        yield Check(
            name="shoe press", passed=worst[0] <= limit, value=round(worst[0], _DECIMALS),
            limit=f"at most {limit:g} mm off the planned overlap of a strip and its shoe", subject=worst[1],
        )  # fmt: skip
        yield from _check("shoe", drawer.panels[0].air, min(gaps))


def _stands(drawer: DrawerPlan, solids: Mapping[int, manifold3d.Manifold]) -> Iterator[Check]:
    worst = max(
        (
            (max(abs(box[2] - panel.z), abs(box[5] - panel.top)), f"{drawer.name}: {panel.name}")
            for panel in drawer.panels
            for box in (solids[piece].bounding_box() for piece in panel.pieces)
        ),
        default=None,
    )
    if worst is not None:
        yield Check(
            name="upright", passed=worst[0] <= CLEARANCE_SLACK, value=round(worst[0], _DECIMALS),
            limit=f"strips from the bottom or the tiles up to their height, within {CLEARANCE_SLACK:g} mm",
            subject=worst[1],
        )  # fmt: skip


def _tiles(drawer: DrawerPlan) -> list[int]:
    """Return the indices of the placements of tiles: what has neither a cell nor a name."""
    return [
        index for index, place in enumerate(drawer.placements) if place.cell is None and place.name is None
    ]  # fmt: skip


def _on_tiles(drawer: DrawerPlan, solids: Mapping[int, manifold3d.Manifold]) -> Iterator[Check]:
    """Yield the checks of panels that stand on tiles; nothing where none does."""
    tiles = [solids[index] for index in _tiles(drawer) if index in solids]
    if tiles:
        floor = manifold3d.Manifold.batch_boolean(tiles, manifold3d.OpType.Add)
        yield from _feet(drawer, solids, floor)
        yield from _carried(drawer, solids, floor)


def _feet(drawer: DrawerPlan, solids: Mapping[int, manifold3d.Manifold], floor: manifold3d.Manifold) -> Iterator[Check]:
    feet = [(panel, foot) for panel in drawer.panels for foot in panel.feet]
    if not feet:
        return
    gaps, free, subject = [], 0, drawer.name
    for panel, foot in feet:
        solid, name = solids[foot], f"{drawer.name}: {panel.name}"
        gaps.append((floor.min_gap(solid, panel.clearance + _BEYOND), name))
        aside = panel.clearance + _BEYOND
        moves = [(step, 0.0, 0.0) if panel.along == "y" else (0.0, step, 0.0) for step in (aside, -aside)]
        if any((floor ^ solid.translate(move)).volume() < _CONTACT for move in moves):
            free, subject = free + 1, name
    yield from _check("foot", drawer.panels[0].clearance, min(gaps))
    yield Check(
        name="foot lock", passed=free == 0, value=free, limit="0 feet that can be pushed aside in their sockets",
        subject=subject,
    )  # fmt: skip


def _carried(
    drawer: DrawerPlan, solids: Mapping[int, manifold3d.Manifold], floor: manifold3d.Manifold
) -> Iterator[Check]:
    areas = []
    for panel in drawer.panels:
        top = floor.slice(panel.z - _BELOW)
        for index in (*panel.pieces, *panel.shoes, *panel.clips):
            area = (top ^ solids[index].slice(panel.z + _OFF)).area()
            if index in panel.pieces:  # a strip also stands in its clips, a little above their floor
                lowered = solids[index].translate((0.0, 0.0, -_OFF))
                area += sum((lowered ^ solids[clip]).volume() for clip in panel.clips) / _OFF
            areas.append((area, f"{drawer.name}: {panel.name}"))
    least = min(areas)
    yield Check(
        name="carried", passed=least[0] >= _CARRIED, value=round(least[0], 2),
        limit=f"at least {_CARRIED:g} mm2 of tiles, or for a strip of clips, below each strip, shoe and clip",
        subject=least[1],
    )  # fmt: skip


def _buckling(drawer: DrawerPlan, _solids: Mapping[int, manifold3d.Manifold]) -> Iterator[Check]:
    pressed = [(panel.buckling / panel.press, f"{drawer.name}: {panel.name}") for panel in drawer.panels if panel.press]
    if pressed:
        least = min(pressed)
        yield Check(
            name="buckling", passed=least[0] >= 1.0, value=round(least[0], 2),
            limit="Euler's load of the longest stretch at least 1 times the press of a shoe", subject=least[1],
        )  # fmt: skip


def _along(panel: PanelPlan, distance: float) -> tuple[float, float, float]:
    return (distance, 0.0, 0.0) if panel.along == "x" else (0.0, distance, 0.0)

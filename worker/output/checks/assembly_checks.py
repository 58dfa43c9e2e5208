"""The checks of the parts together, as they stand in each drawer."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

import manifold3d
import numpy as np
import shapely

from worker.layout.model.plan import DrawerPlan, Plan
from worker.layout.model.shapes import Kind, Placement, TrayShape
from worker.solids.mesh import Mesh
from worker.spec.manifest import Check
from worker.spec.tolerances import CLEARANCE_SLACK, CONTAINMENT_SLACK, SHARED_VOLUME

Box = tuple[float, float, float, float, float, float]

#: How much further than a pair's clearance its gap is measured.
_BEYOND: Final = 0.1

#: Room around the outline that stands for the drawer's sides.
_AROUND: Final = 1000.0

_DECIMALS: Final = 4


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two parts that are near each other: the rule for them, the gap it asks for, the gap and the volume they share."""

    rule: str
    first: int
    second: int
    least: float
    gap: float
    shared: float


@dataclass
class _Solids:
    """The parts of a plan as the kernel has them, turned ones too, and the gaps measured so far."""

    plan: Plan
    meshes: Mapping[str, Mesh]
    kinds: dict[str, Kind] = field(default_factory=dict)
    #: The air that each tray keeps on every side: its inset is the joint's clearance (`Joint.body_inset`).
    airs: dict[str, float] = field(default_factory=dict)
    _turned: dict[tuple[str, int], manifold3d.Manifold] = field(default_factory=dict)
    _gaps: dict[tuple[object, ...], tuple[float, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Note each mark's kind and air."""
        self.kinds = {part.mark: part.kind for part in self.plan.parts}
        self.airs = {part.mark: part.shape.inset for part in self.plan.parts if isinstance(part.shape, TrayShape)}

    def turned(self, mark: str, turn: int) -> manifold3d.Manifold:
        """Return a part turned, its box at 0, 0, 0."""
        key = mark, turn
        if key not in self._turned:
            solid = self.meshes[mark].manifold()
            self._turned[key] = placed(solid, Placement(mark, (0.0, 0.0, 0.0), turn))  # type: ignore[arg-type]
        return self._turned[key]

    def placed(self, place: Placement) -> manifold3d.Manifold:
        """Return a part where it stands."""
        return self.turned(place.mark, place.turn).translate(place.at)

    def box(self, place: Placement) -> Box:
        """Return the box of a part where it stands: least x, y, z, greatest x, y, z."""
        low, high = self.meshes[place.mark].bounds
        width, depth, height = (high - low).tolist()
        if place.turn in {90, 270}:
            width, depth = depth, width
        x, y, z = place.at
        return x, y, z, x + width, y + depth, z + height

    def gap(self, first: Placement, second: Placement, reach: float) -> tuple[float, float]:
        """Return the gap between two parts in mm, at most ``reach``, and the volume that they share in mm3.

        Pairs that stand to each other alike are measured once.
        """
        apart = tuple(round(b - a, _DECIMALS) for a, b in zip(first.at, second.at, strict=True))
        key = (first.mark, first.turn, second.mark, second.turn, apart, reach)
        if key not in self._gaps:
            first_solid = self.turned(first.mark, first.turn)
            other = self.turned(second.mark, second.turn).translate(apart)
            gap = first_solid.min_gap(other, reach)
            self._gaps[key] = gap, 0.0 if gap > 0.0 else (first_solid ^ other).volume()
        return self._gaps[key]


def placed(solid: manifold3d.Manifold, placement: Placement) -> manifold3d.Manifold:
    """Return a part's solid where it stands: turned about z, then the least corner of its box moved to ``at``."""
    turned = solid.rotate((0.0, 0.0, float(placement.turn)))
    box = turned.bounding_box()
    return turned.translate(tuple(at - low for at, low in zip(placement.at, box[:3], strict=True)))


def check_assembly(plan: Plan, meshes: Mapping[str, Mesh]) -> tuple[Check, ...]:
    """Return the checks of every drawer; copies of a drawer are alike and checked once.

    Args:
        plan: what goes where.
        meshes: the solid of every mark that is placed, as read back.
    """
    solids = _Solids(plan, meshes)
    return tuple(check for drawer in plan.drawers for check in _drawer_checks(solids, drawer))


def _drawer_checks(solids: _Solids, drawer: DrawerPlan) -> Iterator[Check]:
    pairs = list(_near_pairs(solids, drawer))
    worst = max(pairs, key=lambda pair: pair.shared, default=None)
    shared = worst.shared if worst is not None else 0.0
    yield Check(
        name="apart", passed=shared <= SHARED_VOLUME, value=round(shared, _DECIMALS),
        limit=f"at most {SHARED_VOLUME:g} mm3 shared by two parts (rounding)",
        subject=_subject(drawer, worst) if worst is not None and shared > 0.0 else drawer.name,
    )  # fmt: skip
    for rule in ("seam", "joint", "trays", "stack", "key"):
        under = sorted((pair for pair in pairs if pair.rule == rule), key=lambda pair: pair.gap - pair.least)
        if under:
            worst = under[0]
            yield Check(
                name=rule, passed=worst.gap >= worst.least - CLEARANCE_SLACK, value=round(worst.gap, _DECIMALS),
                limit=f"a gap of at least {worst.least:g} mm, less {CLEARANCE_SLACK:g}",
                subject=_subject(drawer, worst),
            )  # fmt: skip
    yield _outline_check(solids, drawer)
    tallest = max(drawer.placements, key=lambda place: solids.box(place)[5], default=None)
    if tallest is not None:
        top = solids.box(tallest)[5]
        bottom = min(solids.box(place)[2] for place in drawer.placements)
        yield Check(
            name="height", passed=top <= drawer.size[2] + CONTAINMENT_SLACK and bottom >= -CONTAINMENT_SLACK,
            value=round(top, _DECIMALS), limit=f"at most {drawer.size[2]:g} mm, standing on the bottom",
            subject=f"{drawer.name}: {tallest.mark}",
        )  # fmt: skip


def _near_pairs(solids: _Solids, drawer: DrawerPlan) -> Iterator[_Pair]:
    """Give every two parts whose boxes come nearer than the gap that they need and a little more."""
    places = drawer.placements
    seams = {frozenset((seam.first, seam.second)): seam.gap for seam in drawer.seams}
    boxes = np.array([solids.box(place) for place in places]).reshape(-1, 6)
    reach = max([*seams.values(), *(2.0 * air for air in solids.airs.values())], default=0.0) + _BEYOND
    flat = shapely.box(boxes[:, 0], boxes[:, 1], boxes[:, 3], boxes[:, 4])
    grown = shapely.box(boxes[:, 0] - reach, boxes[:, 1] - reach, boxes[:, 3] + reach, boxes[:, 4] + reach)
    near = shapely.STRtree(list(np.atleast_1d(flat))).query(np.atleast_1d(grown))
    for i, j in sorted(zip(*near.tolist(), strict=True)):
        if j >= i or boxes[i, 2] > boxes[j, 5] + reach or boxes[j, 2] > boxes[i, 5] + reach:
            continue
        rule, least = _need(solids, drawer, seams, j, i)
        yield _Pair(rule, j, i, least, *solids.gap(places[j], places[i], least + _BEYOND))


def _need(
    solids: _Solids, drawer: DrawerPlan, seams: Mapping[frozenset[int], float], first: int, second: int
) -> tuple[str, float]:
    """Return the rule for two parts and the gap that it asks for, in mm."""
    first_place, other = drawer.placements[first], drawer.placements[second]
    kinds = {solids.kinds[first_place.mark], solids.kinds[other.mark]}
    if kinds == {"tile"}:
        gap = seams.get(frozenset((first, second)))
        return ("seam", gap) if gap is not None else ("apart", 0.0)
    if kinds == {"tile", "key"}:
        return "key", min(seams.values(), default=0.0)
    air = solids.airs.get(first_place.mark, 0.0) + solids.airs.get(other.mark, 0.0)
    if kinds == {"tile", "tray"}:
        return "joint", air
    if (
        kinds == {"tray"}
        and first_place.cell is not None
        and first_place.cell == other.cell
        and first_place.at[2] != other.at[2]
    ):
        return "stack", max(solids.airs.values())  # a foot in a rim, as in a socket
    if kinds == {"tray"}:
        return "trays", air
    return "apart", 0.0


def _outline_check(solids: _Solids, drawer: DrawerPlan) -> Check:
    """Check that every part lies inside the outline, seen from above.

    A part whose box lies inside is done. The others are held against a solid of all that is not the outline.
    """
    outer, *holes = drawer.outline
    inside = shapely.Polygon(outer, holes).buffer(CONTAINMENT_SLACK, join_style="mitre")
    shapely.prepare(inside)
    boxes = [solids.box(place) for place in drawer.placements]
    near = [
        place
        for place, (x0, y0, _, x1, y1, _) in zip(drawer.placements, boxes, strict=True)
        if not inside.covers(shapely.box(x0, y0, x1, y1))
    ]
    sides = _sides(drawer, max((box[5] for box in boxes), default=0.0)) if near else None
    outside = [place for place in near if sides is not None and (sides ^ solids.placed(place)).volume() > SHARED_VOLUME]
    return Check(
        name="outline", passed=not outside, value=len(outside),
        limit=f"0 parts that reach out of the outline by more than {CONTAINMENT_SLACK:g} mm",
        subject=f"{drawer.name}: {outside[0].mark}" if outside else drawer.name,
    )  # fmt: skip


def _sides(drawer: DrawerPlan, height: float) -> manifold3d.Manifold:
    """Return what is not the outline, as a solid from below the bottom to above ``height``."""
    rings = [np.array(ring, dtype=np.float64) for ring in drawer.outline]
    outline = manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd)
    outline = outline.offset(CONTAINMENT_SLACK, manifold3d.JoinType.Miter)
    low, high = rings[0].min(axis=0) - _AROUND, rings[0].max(axis=0) + _AROUND
    around = manifold3d.CrossSection.square(tuple((high - low).tolist())).translate(tuple(low.tolist()))
    return (around - outline).extrude(height + 2.0).translate((0.0, 0.0, -1.0))


def _subject(drawer: DrawerPlan, pair: _Pair) -> str:
    """Name a pair: the drawer, both marks and where they stand."""
    first_place, other = (drawer.placements[index] for index in (pair.first, pair.second))
    return f"{drawer.name}: {_stand(first_place)} and {_stand(other)}"


def _stand(place: Placement) -> str:
    return f"{place.mark} at {place.at[0]:g}, {place.at[1]:g}"

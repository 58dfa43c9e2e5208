"""Checks of an assembled drawer: gaps between neighbouring parts, overlaps, the outline and the height."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from math import sqrt
from typing import Final

import manifold3d
import numpy as np
import shapely

from worker.layout.model.plan import DrawerPlan, Plan
from worker.layout.model.shapes import Kind, PieceShape, Placement, TrayShape
from worker.layout.tray.joints.profile import AIR
from worker.output.checks.contents_check import check_contents
from worker.output.checks.held import Outlines, check_held
from worker.output.checks.jointed_checks import check_jointed
from worker.output.checks.panel_checks import check_panels, meant_to_touch, panel_solids
from worker.output.checks.placed_boxes import Box, mesh_size, placed_box, tray_box
from worker.output.checks.upper_tray_checks import check_upper_trays
from worker.output.meshes.standing import standing
from worker.solids.mesh import Mesh
from worker.solids.recent_values import RecentValues
from worker.spec.manifest import Check
from worker.spec.tolerances import CLEARANCE_SLACK, CONTAINMENT_SLACK, SHARED_VOLUME

#: Gaps are measured up to a pair's clearance and this much more, mm.
_BEYOND: Final = 0.1

#: Length in mm along both axes by which trays overlap, seen from above, of which one stands over the other: pieces of a
#: jointed tray reach into each other by less than their tabs.
_OVER: Final = 6.0

#: Width of the solid around the outline that stands for the drawer's sides, mm.
_AROUND: Final = 1000.0

_DECIMALS: Final = 4

#: Gap and shared volume of the latest pairs of parts, by their meshes and how they stand to each other: a job of 20
#: trays has 87 pairs, which take 160 ms.
_GAPS: Final = RecentValues[tuple[float, float]](4096)


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two parts that are near each other, by their placements' indices.

    ``rule`` is the name of their check and ``least`` the gap that it requires, mm; ``gap`` is their gap, mm, and
    ``shared`` the volume of their intersection, mm3.
    """

    rule: str
    first: int
    second: int
    least: float
    gap: float
    shared: float


@dataclass
class _Solids:
    """The solids of a plan's parts in every rotation."""

    plan: Plan
    meshes: Mapping[str, Mesh]
    kinds: dict[str, Kind] = field(default_factory=dict)
    #: Clearance of each tray on every side, mm: its inset (`Joint.body_inset`).
    clearances: dict[str, float] = field(default_factory=dict)
    sizes: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    _contents: dict[str, bytes] = field(default_factory=dict)
    _turned: dict[tuple[str, int], manifold3d.Manifold] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Collect each mark's kind and clearance."""
        self.kinds = {part.mark: part.kind for part in self.plan.parts}
        shapes = {part.mark: part.shape for part in self.plan.parts}
        trays = {mark: shape.tray if isinstance(shape, PieceShape) else shape for mark, shape in shapes.items()}
        self.clearances = {mark: shape.inset for mark, shape in trays.items() if isinstance(shape, TrayShape)}
        self.sizes = {mark: mesh_size(mesh) for mark, mesh in self.meshes.items()}
        self._contents = {mark: mesh.content for mark, mesh in self.meshes.items()}

    def turned(self, mark: str, turn: int) -> manifold3d.Manifold:
        """Return the solid of a part turned by ``turn`` degrees, its bounding box at 0, 0, 0."""
        key = mark, turn
        if key not in self._turned:
            solid = self.meshes[mark].manifold()
            self._turned[key] = placed(solid, Placement(mark, (0.0, 0.0, 0.0), turn))  # type: ignore[arg-type]
        return self._turned[key]

    def placed(self, place: Placement) -> manifold3d.Manifold:
        """Return the solid of a part in its place."""
        return self.turned(place.mark, place.turn).translate(place.at)

    def box(self, place: Placement) -> Box:
        """Return the bounding box of a part in its place, mm: least x, y, z, greatest x, y, z."""
        return placed_box(place, self.sizes[place.mark])

    def gap(self, first: Placement, second: Placement, reach: float, lift: float = 0.0) -> tuple[float, float]:
        """Return the gap between two parts in mm, at most ``reach``, and the volume that they share in mm3.

        Pairs that stand to each other alike are measured once.

        Args:
            first: a placement.
            second: another placement.
            reach: largest gap to measure, mm.
            lift: height in mm by which the upper part is lifted before the gap is measured; the shared volume is that
                of the parts as they stand.
        """
        apart = tuple(round(b - a, _DECIMALS) for a, b in zip(first.at, second.at, strict=True))
        contents = self._contents[first.mark], self._contents[second.mark]

        def measure() -> tuple[float, float]:
            first_solid = self.turned(first.mark, first.turn)
            other = self.turned(second.mark, second.turn).translate(apart)
            lifted = other.translate((0.0, 0.0, lift if apart[2] > 0.0 else -lift)) if lift else other
            gap = first_solid.min_gap(lifted, reach)
            return gap, (first_solid ^ other).volume() if gap <= 0.0 or lift else 0.0

        return _GAPS.get((contents, first.turn, second.turn, apart, reach, lift), measure)


def placed(solid: manifold3d.Manifold, placement: Placement) -> manifold3d.Manifold:
    """Return a part's solid in its place: turned about z, then the least corner of its box moved to ``at``."""
    turned = solid.rotate((0.0, 0.0, float(placement.turn)))
    box = turned.bounding_box()
    return turned.translate(tuple(at - low for at, low in zip(placement.at, box[:3], strict=True)))


def check_assembly(plan: Plan, meshes: Mapping[str, Mesh]) -> tuple[Check, ...]:
    """Return the checks of every drawer; identical copies of a drawer are checked once.

    Args:
        plan: the job laid out.
        meshes: by mark, as read back, mm.

    Raises:
        KeyError: when a mark that is placed has no mesh.
    """
    meshes = standing((place for drawer in plan.drawers for place in drawer.placements), meshes)
    solids, outlines = _Solids(plan, meshes), Outlines(meshes)
    checks: list[Check] = []
    for drawer in plan.drawers:
        checks += _drawer_checks(solids, drawer)
        keys = [place for place in drawer.placements if solids.kinds[place.mark] == "key"]
        held = check_held(outlines, drawer, keys)
        checks += [] if held is None else [held]
        checks += check_jointed(drawer, {part.mark: part for part in plan.parts}, meshes)
        checks += check_panels(drawer, panel_solids(drawer, meshes))
        checks += check_upper_trays(drawer, meshes)
        checks += check_contents(drawer, meshes)
    return tuple(checks)


def _drawer_checks(solids: _Solids, drawer: DrawerPlan) -> Iterator[Check]:
    touching = meant_to_touch(drawer)
    pairs = [pair for pair in _near_pairs(solids, drawer) if frozenset((pair.first, pair.second)) not in touching]
    worst = max(pairs, key=lambda pair: pair.shared, default=None)
    shared = worst.shared if worst is not None else 0.0
    yield Check(
        name="apart", passed=shared <= SHARED_VOLUME, value=round(shared, _DECIMALS),
        limit=f"at most {SHARED_VOLUME:g} mm3 of overlap between two parts",
        subject=_subject(drawer, worst) if worst is not None and shared > 0.0 else drawer.name,
    )  # fmt: skip
    for rule in ("seam", "joint", "trays", "splice", "stack", "key"):
        under = sorted((pair for pair in pairs if pair.rule == rule), key=lambda pair: pair.gap - pair.least)
        if under:
            worst = under[0]
            yield Check(
                name=rule, passed=worst.gap >= worst.least - CLEARANCE_SLACK, value=round(worst.gap, _DECIMALS),
                limit=f"a gap of at least {worst.least:g} mm less {CLEARANCE_SLACK:g} mm for rounding",
                subject=_subject(drawer, worst),
            )  # fmt: skip
    yield _outline_check(solids, drawer)
    tallest = max(drawer.placements, key=lambda place: solids.box(place)[5], default=None)
    if tallest is not None:
        top = solids.box(tallest)[5]
        bottom = min(solids.box(place)[2] for place in drawer.placements)
        yield Check(
            name="height", passed=top <= drawer.size[2] + CONTAINMENT_SLACK and bottom >= -CONTAINMENT_SLACK,
            value=round(top, _DECIMALS), limit=f"at most {drawer.size[2]:g} mm, and nothing below the drawer's bottom",
            subject=f"{drawer.name}: {tallest.mark}",
        )  # fmt: skip


def _near_pairs(solids: _Solids, drawer: DrawerPlan) -> Iterator[_Pair]:
    """Yield every pair of parts whose bounding boxes are nearer than the largest required gap and `_BEYOND`."""
    places = drawer.placements
    seams = {frozenset((seam.first, seam.second)): seam.gap for seam in drawer.seams}
    for tray in drawer.jointed:
        seams |= {frozenset(pair): AIR for pair in combinations(tray.pieces, 2)}
    boxes = np.array([solids.box(place) for place in places]).reshape(-1, 6)
    reach = (
        max([*seams.values(), *(2.0 * clearance for clearance in solids.clearances.values())], default=0.0) + _BEYOND
    )
    flat = shapely.box(boxes[:, 0], boxes[:, 1], boxes[:, 3], boxes[:, 4])
    grown = shapely.box(boxes[:, 0] - reach, boxes[:, 1] - reach, boxes[:, 3] + reach, boxes[:, 4] + reach)
    near = shapely.STRtree(list(np.atleast_1d(flat))).query(np.atleast_1d(grown))
    for i, j in sorted(zip(*near.tolist(), strict=True)):
        if j >= i or boxes[i, 2] > boxes[j, 5] + reach or boxes[j, 2] > boxes[i, 5] + reach:
            continue
        rule, least = _required_gap(solids, drawer, seams, j, i)
        lift = least * sqrt(2.0) if rule == "stack" else 0.0
        yield _Pair(rule, j, i, least, *solids.gap(places[j], places[i], least + _BEYOND, lift))


def _required_gap(
    solids: _Solids, drawer: DrawerPlan, seams: Mapping[frozenset[int], float], first: int, second: int
) -> tuple[str, float]:
    """Return the name of the check for two parts and the gap that it requires, mm."""
    first_place, other = drawer.placements[first], drawer.placements[second]
    kinds = {solids.kinds[first_place.mark], solids.kinds[other.mark]}
    if kinds == {"tile"}:
        gap = seams.get(frozenset((first, second)))
        return ("seam", gap) if gap is not None else ("apart", 0.0)
    if kinds == {"tile", "key"}:
        return "key", min(seams.values(), default=0.0)
    clearance = solids.clearances.get(first_place.mark, 0.0) + solids.clearances.get(other.mark, 0.0)
    if kinds == {"tile", "tray"}:
        return "joint", clearance
    if kinds == {"tray"} and _stacked(*(tray_box(drawer, index, solids.sizes) for index in (first, second))):
        # A foot in a rim keeps the clearance once it is lifted from its 45-degree seat, on which it rests: by the
        # clearance times sqrt(2) along z (`Joint.settling`).
        return "stack", max(solids.clearances.values())
    if kinds == {"tray"}:
        gap = seams.get(frozenset((first, second)))
        return ("trays", clearance) if gap is None else ("splice", gap)
    return "apart", 0.0


def _stacked(first: Box, other: Box) -> bool:
    """Return whether of two trays one stands over the other, in its rim: seen from above they overlap."""
    over = all(min(first[axis + 3], other[axis + 3]) - max(first[axis], other[axis]) > _OVER for axis in (0, 1))
    return over and first[2] != other[2]


def _outline_check(solids: _Solids, drawer: DrawerPlan) -> Check:
    """Return the check that every part lies inside the outline, seen from above.

    A part passes when its bounding box lies inside. The others are intersected with a solid of all that is outside.
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
        limit=f"0 parts that exceed the outline by more than {CONTAINMENT_SLACK:g} mm",
        subject=f"{drawer.name}: {outside[0].mark}" if outside else drawer.name,
    )  # fmt: skip


def _sides(drawer: DrawerPlan, height: float) -> manifold3d.Manifold:
    """Return the region outside the outline as a solid from below the bottom to above ``height``, mm."""
    rings = [np.array(ring, dtype=np.float64) for ring in drawer.outline]
    outline = manifold3d.CrossSection(rings, manifold3d.FillRule.EvenOdd)
    outline = outline.offset(CONTAINMENT_SLACK, manifold3d.JoinType.Miter)
    low, high = rings[0].min(axis=0) - _AROUND, rings[0].max(axis=0) + _AROUND
    around = manifold3d.CrossSection.square(tuple((high - low).tolist())).translate(tuple(low.tolist()))
    return (around - outline).extrude(height + 2.0).translate((0.0, 0.0, -1.0))


def _subject(drawer: DrawerPlan, pair: _Pair) -> str:
    """Return the subject of a pair's check: the drawer, both marks and their positions."""
    first_place, other = (drawer.placements[index] for index in (pair.first, pair.second))
    return f"{drawer.name}: {_position(first_place)} and {_position(other)}"


def _position(place: Placement) -> str:
    return f"{place.mark} at {place.at[0]:g}, {place.at[1]:g}"

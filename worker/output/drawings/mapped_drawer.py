"""A drawer prepared for its map: parts as polygons in the drawer's frame, and stacks of trays; lengths in mm."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import cos, pi, prod, sin
from typing import Final

from shapely.geometry import Polygon, box

from worker.layout.model.plan import DrawerPlan, Plan, Stored
from worker.layout.model.shapes import Part, PieceShape, Placement, Point, TileShape, TrayShape
from worker.layout.tray.part_mark import piece_ends
from worker.output.drawings.group_tints import Tint, tints_of

__all__ = ["MappedDrawer", "MappedPart", "rounded"]

#: Facets of a rounded corner.
_FACETS: Final = 4
#: Trays whose footprints overlap by at most this, mm2, stand beside each other.
_SHARED: Final = 1.0
_QUARTER: Final = 90


@dataclass(frozen=True, slots=True)
class MappedPart:
    """A part in its place: ``index`` is that of its placement, ``on`` the part below it in its stack."""

    index: int
    place: Placement
    part: Part
    on: "MappedPart | None" = None

    @property
    def size(self) -> tuple[float, float]:
        """Width and depth as placed, in mm."""
        wide, deep, high = self.part.size
        if self.place.upright:
            deep = high
        return (deep, wide) if self.place.turn % 180 == _QUARTER else (wide, deep)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """The bounding box as placed, seen from above: left, front, right, back, mm."""
        (x, y, _), (wide, deep) = self.place.at, self.size
        if isinstance(self.part.shape, PieceShape):
            (left, front), (right, back) = self._ends
            return x + left, y + front, x + right, y + back
        return x, y, x + wide, y + deep

    @property
    def box(self) -> Polygon:
        """The bounding box as placed, seen from above."""
        return box(*self.bounds)

    def shared_area(self, other: "MappedPart") -> float:
        """Return the area in which the bounding boxes of two parts overlap, mm2."""
        own, their = self.bounds, other.bounds
        sides = (min(own[axis + 2], their[axis + 2]) - max(own[axis], their[axis]) for axis in (0, 1))
        return prod(max(side, 0.0) for side in sides)

    @property
    def _ends(self) -> tuple[Point, Point]:
        """The corners of a piece of a jointed tray in its own frame, without tabs and tongues."""
        shape = self.part.shape
        assert isinstance(shape, PieceShape)  # noqa: S101 - others have no such ends
        (left, right), (front, back) = piece_ends(shape)
        x, y = shape.corner
        return (left - x, front - y), (right - x, back - y)

    def put(self, ring: Sequence[Point]) -> list[Point]:
        """Return a ring of the part's own frame in the drawer's frame."""
        (wide, deep, _), (left, front, _) = self.part.size, self.place.at
        turned = {
            0: ring,
            90: [(deep - y, x) for x, y in ring],
            180: [(wide - x, deep - y) for x, y in ring],
            270: [(y, wide - x) for x, y in ring],
        }[self.place.turn]
        return [(left + x, front + y) for x, y in turned]

    @property
    def outline(self) -> list[Point]:
        """The outline as placed: that of a tile, key or shoe, the rounded rectangle of a tray, otherwise the box."""
        shape = self.part.shape
        wide, deep, _ = self.part.size
        if self.place.upright:
            return rounded(*self.bounds, 0.0)
        if isinstance(shape, TrayShape):
            return self.put(rounded(0.0, 0.0, wide, deep, max(shape.corner_radius - shape.inset, 0.0)))
        if isinstance(shape, PieceShape):
            (left, front), (right, back) = self._ends
            return self.put(rounded(left, front, right, back, 0.0))
        ring = getattr(shape, "outline", None)
        return self.put(ring or rounded(0.0, 0.0, wide, deep, 0.0))

    @property
    def holes(self) -> list[list[Point]]:
        """The windows of a tile as placed; none for other parts."""
        return [self.put(ring) for ring in self.part.shape.windows] if isinstance(self.part.shape, TileShape) else []


@dataclass(frozen=True)
class MappedDrawer:
    """One drawer of a plan with the properties that its map shows.

    ``groups`` are those of the job's items by their pointers, see `worker.output.drawings.group_tints.groups_of`.
    """

    plan: Plan
    index: int
    groups: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def tints(self) -> Mapping[str, Tint]:
        """The tints of groups by their names, the same in all drawers of the job."""
        return tints_of(self.groups.values())

    def group_of(self, tray: MappedPart) -> str | None:
        """Return the group of most kinds of things in a tray, the first of several; None without one."""
        jointed = next((own.pieces[0] for own in self.drawer.jointed if tray.index in own.pieces), tray.index)
        counts = Counter(
            self.groups[content.pointer]
            for content in self.drawer.contents
            if content.placement in {jointed, tray.index} and content.pointer in self.groups
        )
        return counts.most_common(1)[0][0] if counts else None

    @property
    def drawer(self) -> DrawerPlan:
        """The drawer as laid out."""
        return self.plan.drawers[self.index]

    @cached_property
    def _parts(self) -> Mapping[str, Part]:
        return {part.mark: part for part in self.plan.parts}

    @cached_property
    def floor(self) -> tuple[MappedPart, ...]:
        """Tiles and keys."""
        return tuple(part for part in self._all if part.part.kind in {"tile", "key"})

    @cached_property
    def panels(self) -> tuple[MappedPart, ...]:
        """The strips of panels, their shoes and their clips."""
        return tuple(part for part in self._all if part.part.kind in {"panel", "shoe", "clip"})

    def middles(self, axis: int) -> list[float]:
        """Return where the panels that run across an axis have their middles, in order along it, each once."""
        across = "yx"[axis]
        return sorted({round(panel.at, 3) for panel in self.drawer.panels if panel.along == across})

    @cached_property
    def stacks(self) -> tuple[tuple[MappedPart, ...], ...]:
        """The stacks of trays, each from the bottom up; a single tray is a stack too, and so is one on several."""
        return tuple(stack for layer in self.layers for stack in layer)

    @cached_property
    def layers(self) -> tuple[tuple[tuple[MappedPart, ...], ...], ...]:
        """The stacks of each layer, that on the floor first; a tray that reaches beyond those below begins a layer."""
        layers: list[list[list[MappedPart]]] = []
        trays = [part for part in self._all if part.part.kind == "tray"]
        for tray in sorted(trays, key=lambda tray: (tray.place.at[2], tray.index)):
            level = self._levels.get(tray.index, 0)
            while len(layers) <= level:
                layers.append([])
            stacks = layers[level]
            shared = [(tray.shared_area(stack[0]), number) for number, stack in enumerate(stacks)]
            area, number = max(shared, default=(0.0, 0))
            if area > _SHARED:
                stacks[number].append(MappedPart(tray.index, tray.place, tray.part, stacks[number][-1]))
            else:
                stacks.append([tray])
        return tuple(tuple(map(tuple, stacks)) for stacks in layers)

    @cached_property
    def _levels(self) -> Mapping[int, int]:
        """The layer of each tray on others, by the index of its placement, and of each of its pieces."""
        levels: dict[int, int] = {}
        pieces = {tray.pieces[0]: tray.pieces for tray in self.drawer.jointed}
        for upper in sorted(self.drawer.upper, key=lambda upper: upper.z):
            below = max((levels.get(index, 0) for index in upper.on), default=0)
            alike = len(upper.on) == 1 and self._footprint(upper.placement) == self._footprint(upper.on[0])
            for index in pieces.get(upper.placement, (upper.placement,)):
                levels[index] = below if alike else below + 1
        return levels

    def _footprint(self, index: int) -> tuple[Point | None, tuple[int, int] | None]:
        """Return the cell and the size in half cells of a tray, or of the tray that a piece belongs to."""
        part = self._all[index]
        shape = part.part.shape
        whole = shape.tray if isinstance(shape, PieceShape) else shape
        return part.place.cell, whole.halves if isinstance(whole, TrayShape) else None

    @cached_property
    def _below(self) -> Mapping[int, tuple[int, ...]]:
        return {upper.placement: upper.on for upper in self.drawer.upper}

    @cached_property
    def _panels_below(self) -> Mapping[int, tuple[int, ...]]:
        return {upper.placement: upper.panels for upper in self.drawer.upper}

    @cached_property
    def _all(self) -> tuple[MappedPart, ...]:
        return tuple(MappedPart(i, place, self._parts[place.mark]) for i, place in enumerate(self.drawer.placements))

    @cached_property
    def cells(self) -> tuple[tuple[float, float, float, float], ...]:
        """The cells: left, front, right, back."""
        lattice = self.drawer.lattice
        (x0, y0), half = lattice.origin, lattice.pitch / 2.0
        return tuple(
            (
                x0 + cell.x * half,
                y0 + cell.y * half,
                x0 + (cell.x + cell.width) * half,
                y0 + (cell.y + cell.depth) * half,
            )
            for cell in lattice.cells
        )

    @cached_property
    def spaces(self) -> tuple[tuple[tuple[float, float, float, float], str], ...]:
        """The free rectangles, left, front, right, back, with their captions."""
        (x0, y0), half = self.drawer.lattice.origin, self.drawer.lattice.pitch / 2.0
        return tuple(
            (
                (x0 + x * half, y0 + y * half, x0 + (x + across) * half, y0 + (y + back) * half),
                f"free, {across / 2.0:g} x {back / 2.0:g} cells",
            )
            for (x, y), (across, back) in ((space.at, space.halves) for space in self.drawer.spaces)
        )

    @cached_property
    def extent(self) -> tuple[float, float]:
        """Width and depth of the usable area: the drawer's, less the gap around the floor."""
        across, back = zip(*self.drawer.outline[0], strict=True)
        return max(across), max(back)

    @cached_property
    def edges(self) -> tuple[float, float, float, float]:
        """The margins between the cells and the edge of the usable area: left, front, right, back; 0 without cells."""
        if not self.cells:
            return 0.0, 0.0, 0.0, 0.0
        wide, deep = self.extent
        lefts, fronts, rights, backs = zip(*self.cells, strict=True)
        return min(lefts), min(fronts), wide - max(rights), deep - max(backs)

    def stored(self, index: int) -> list[Stored]:
        """Return the items in the tray of a placement."""
        return [stored for stored in self.drawer.contents if stored.placement == index]

    def lane_captions(self, index: int) -> list[str]:
        """Return the captions of a lane: what lies in it, or that it is free."""
        held = [f"{lot.count} x {lot.item}" for lot in self.drawer.contents if lot.lane == index]
        return held or ["free"]

    def captions(self, tray: MappedPart) -> list[str]:
        """Return the captions of a tray: its items or else its name, then the tray below it, and its rotation."""
        held = [f"{lot.count} x {lot.item}" for lot in self.stored(tray.index)]
        jointed = isinstance(tray.part.shape, PieceShape)
        words = held or [tray.part.name if jointed else tray.place.name or tray.part.name]
        below = self._below.get(tray.index, () if tray.on is None else (tray.on.index,))
        names = [
            *(self.drawer.placements[index].mark for index in below),
            *(self.drawer.panels[index].name for index in self._panels_below.get(tray.index, ())),
        ]
        if names:
            words.append(f"on top of {', '.join(dict.fromkeys(names))}")
        if tray.place.turn:
            words.append(f"turned {tray.place.turn}\u00b0")
        return words


def rounded(left: float, front: float, right: float, back: float, radius: float) -> list[Point]:
    """Return a rectangle with rounded corners, counter-clockwise."""
    radius = min(radius, (right - left) / 2.0, (back - front) / 2.0)
    if radius <= 0.0:
        return [(left, front), (right, front), (right, back), (left, back)]
    ring = []
    corners = ((right, front, -1, 1), (right, back, -1, -1), (left, back, 1, -1), (left, front, 1, 1))
    for quarter, (x, y, inwards, up) in enumerate(corners):
        for step in range(_FACETS + 1):
            angle = (quarter - 1 + step / _FACETS) * pi / 2.0
            ring.append((x + radius * (inwards + cos(angle)), y + radius * (up + sin(angle))))
    return ring

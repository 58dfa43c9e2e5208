"""The ground of a map: where a drawer's parts lie, as polygons in the drawer's frame, and what stands on what."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import cos, pi, sin
from typing import Final

from shapely.geometry import Polygon, box

from worker.layout.model.plan import DrawerPlan, Plan, Stored
from worker.layout.model.shapes import Part, Placement, Point, TileShape, TrayShape

__all__ = ["Ground", "Stood", "rounded"]

#: Straight pieces of a rounded corner.
_FACETS: Final = 4
#: Trays that share less of their floor than this, in mm2, stand beside each other.
_SHARED: Final = 1.0
_QUARTER: Final = 90


@dataclass(frozen=True, slots=True)
class Stood:
    """A part in its place: ``index`` among the drawer's placements, ``on`` the one below it in its pile."""

    index: int
    place: Placement
    part: Part
    on: "Stood | None" = None

    @property
    def size(self) -> tuple[float, float]:
        """Width and depth as it stands."""
        wide, deep, _ = self.part.size
        return (deep, wide) if self.place.turn % 180 == _QUARTER else (wide, deep)

    @property
    def box(self) -> Polygon:
        """The box that it stands in."""
        (x, y, _), (wide, deep) = self.place.at, self.size
        return box(x, y, x + wide, y + deep)

    def put(self, ring: Sequence[Point]) -> list[Point]:
        """Return a ring of the part's own frame in the drawer's."""
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
        """Its outline as it stands: a tile's and a key's own, a tray's rounded rectangle, else its box."""
        shape = self.part.shape
        wide, deep, _ = self.part.size
        if isinstance(shape, TrayShape):
            return self.put(rounded(0.0, 0.0, wide, deep, max(shape.corner_radius - shape.inset, 0.0)))
        ring = getattr(shape, "outline", None)
        return self.put(ring or rounded(0.0, 0.0, wide, deep, 0.0))

    @property
    def holes(self) -> list[list[Point]]:
        """The windows of a tile."""
        return [self.put(ring) for ring in self.part.shape.windows] if isinstance(self.part.shape, TileShape) else []


@dataclass(frozen=True)
class Ground:
    """One drawer of a plan, ready to be drawn."""

    plan: Plan
    index: int

    @property
    def drawer(self) -> DrawerPlan:
        """The drawer as laid out."""
        return self.plan.drawers[self.index]

    @cached_property
    def _parts(self) -> Mapping[str, Part]:
        return {part.mark: part for part in self.plan.parts}

    @cached_property
    def floor(self) -> tuple[Stood, ...]:
        """Tiles and keys."""
        return tuple(one for one in self._all if one.part.kind != "tray")

    @cached_property
    def piles(self) -> tuple[tuple[Stood, ...], ...]:
        """Trays from the bottom up; one that stands alone is a pile too."""
        piles: list[list[Stood]] = []
        trays = [one for one in self._all if one.part.kind == "tray"]
        for one in sorted(trays, key=lambda one: (one.place.at[2], one.index)):
            own = one.box
            shared = [(own.intersection(pile[0].box).area, number) for number, pile in enumerate(piles)]
            area, number = max(shared, default=(0.0, 0))
            if area > _SHARED:
                piles[number].append(Stood(one.index, one.place, one.part, piles[number][-1]))
            else:
                piles.append([one])
        return tuple(map(tuple, piles))

    @cached_property
    def _all(self) -> tuple[Stood, ...]:
        return tuple(Stood(i, one, self._parts[one.mark]) for i, one in enumerate(self.drawer.placements))

    @cached_property
    def cells(self) -> tuple[tuple[float, float, float, float], ...]:
        """The cells: left, front, right, back."""
        lattice = self.drawer.lattice
        (x0, y0), half = lattice.origin, lattice.pitch / 2.0
        return tuple(
            (x0 + one.x * half, y0 + one.y * half, x0 + (one.x + one.width) * half, y0 + (one.y + one.depth) * half)
            for one in lattice.cells
        )

    @cached_property
    def spaces(self) -> tuple[tuple[tuple[float, float, float, float], str], ...]:
        """The free rectangles: left, front, right, back, and their size in words."""
        (x0, y0), half = self.drawer.lattice.origin, self.drawer.lattice.pitch / 2.0
        return tuple(
            (
                (x0 + x * half, y0 + y * half, x0 + (x + across) * half, y0 + (y + back) * half),
                f"free, {across / 2.0:g} x {back / 2.0:g} cells",
            )
            for (x, y), (across, back) in ((one.at, one.halves) for one in self.drawer.spaces)
        )

    @cached_property
    def extent(self) -> tuple[float, float]:
        """Width and depth of the usable area: the drawer's less the gap round the floor."""
        across, back = zip(*self.drawer.outline[0], strict=True)
        return max(across), max(back)

    @cached_property
    def edges(self) -> tuple[float, float, float, float]:
        """What the cells leave of the usable area: left, front, right, back."""
        wide, deep = self.extent
        lefts, fronts, rights, backs = zip(*self.cells, strict=True)
        return min(lefts), min(fronts), wide - max(rights), deep - max(backs)

    def stored(self, index: int) -> list[Stored]:
        """Return what lies in the tray of a placement."""
        return [one for one in self.drawer.contents if one.placement == index]

    def told(self, one: Stood) -> list[str]:
        """Return the words of a tray: what lies in it, else its name; then what it stands on, and its turn."""
        held = [f"{lot.count} x {lot.item}" for lot in self.stored(one.index)]
        words = held or [one.place.name or one.part.name]
        if one.on is not None:
            words.append(f"on top of {one.on.place.mark}")
        if one.place.turn:
            words.append(f"turned {one.place.turn}\u00b0")
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

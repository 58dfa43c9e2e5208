"""The lines of panels: where each begins and ends, what it crosses, and what holds it; before any part is made."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import ceil, inf
from typing import Final, Literal, TypeAlias

import shapely
from shapely.geometry.base import BaseGeometry

from worker.layout.panels.foot import foot_box, foot_reach
from worker.layout.panels.profile import FEET_APART, STUB, PanelProfile
from worker.layout.panels.sockets import FloorSockets, PanelSocket
from worker.layout.storage.sizing_rules import FRAME_AIR
from worker.layout.tray.interior import on_grid
from worker.spec.drawer.drawer import Drawer
from worker.spec.drawer.panel import LEAST_PANEL_HEIGHT, Panel
from worker.spec.errors import PanelError
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["LEAST_APART", "Crossing", "End", "PanelLine", "free_stretches", "panel_lines"]

#: What an end of a panel meets: the drawer's side, with or without room for a shoe, another panel, or nothing.
End: TypeAlias = Literal["shoe", "side", "panel", "free"]

#: Least distance between the middles of two panels side by side, mm: a finger or a cleaning brush (own choice).
LEAST_APART: Final = 12.0
#: Shorter stretches between obstacles are no place for a panel, mm.
_LEAST_STRETCH: Final = 40.0
#: Thicknesses to choose from, mm; the greatest ratio of a stretch between two holds to the thickness (own choice: at
#: 150 a strip of 60 mm bends by 5 mm under a push of 1 to 2 N).
_THICKNESSES: Final = (2.4, 2.8, 3.2, 3.6, 4.0)
SLENDERNESS: Final = 150.0
#: Room between a strip and what is beside it, mm, in the search for a free stretch.
_BESIDE: Final = 0.2
#: Distance of a crossing from the cheeks of a shoe, mm.
_FROM_SHOE: Final = 4.0


@dataclass(frozen=True, slots=True)
class Crossing:
    """A half lap: its position along the panel, and the index of the other panel."""

    at: float
    other: int


@dataclass
class PanelLine:
    """A panel in the frame of the usable area, mm.

    ``axis`` is 0 for a panel along x, 1 along y; ``at`` its middle across; ``start`` and ``end`` where the stretch that
    it may fill begins and ends; ``ends`` what it meets there; ``height`` that of its strips; ``feet`` the sockets that
    its feet stand in.
    """

    index: int
    panel: Panel
    pointer: str
    axis: int
    at: float
    start: float
    end: float
    height: float
    ends: list[End]
    crossings: list[Crossing] = field(default_factory=list)
    thickness: float = 0.0
    feet: list[PanelSocket] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Its name, or else its number."""
        return self.panel.name or f"panel {self.index + 1}"

    @property
    def holds(self) -> tuple[float, ...]:
        """Where something holds it upright, in order along its length: crossings, and ends in shoes."""
        ends = [at for at, end in zip((self.start, self.end), self.ends, strict=True) if end == "shoe"]
        return tuple(sorted([*ends, *(crossing.at for crossing in self.crossings)]))

    @property
    def span(self) -> float:
        """The longest stretch between two neighbouring holds, or between a hold and a free end."""
        return max((b - a for a, b in itertools.pairwise(sorted({self.start, *self.holds, self.end}))), default=0.0)

    def across(self, half: float, start: float, end: float) -> tuple[float, float, float, float]:
        """Return a rectangle around its middle: left, front, right, back."""
        return self.between(self.at - half, self.at + half, start, end)

    def between(self, low: float, high: float, start: float, end: float) -> tuple[float, float, float, float]:
        """Return a rectangle between two positions across and two along it: left, front, right, back."""
        return (start, low, end, high) if self.axis == 0 else (low, start, high, end)


def free_stretches(usable: BaseGeometry, axis: int, low: float, high: float) -> list[tuple[float, float]]:
    """Return where a band across an area is free over its whole width, in order along the axis.

    Args:
        usable: area, mm.
        axis: 0 for a band along x, 1 along y.
        low: the lower edge of the band across the axis, mm.
        high: its upper edge, mm.
    """
    left, front, right, back = usable.bounds
    ends = (left, right) if axis == 0 else (front, back)
    band = (ends[0], low, ends[1], high) if axis == 0 else (low, ends[0], high, ends[1])
    blocked = shapely.difference(shapely.box(*band), usable)
    shut = sorted(
        (piece.bounds[axis], piece.bounds[axis + 2])
        for piece in shapely.get_parts(blocked)
        if piece.area > 0.0
    )  # fmt: skip
    stretches, reached = [], ends[0]
    for begin, end in shut:
        if begin > reached + LENGTH_EPSILON:
            stretches.append((reached, begin))
        reached = max(reached, end)
    if reached < ends[1] - LENGTH_EPSILON:
        stretches.append((reached, ends[1]))
    return stretches


def panel_lines(  # noqa: PLR0917 - what the lines of a drawer depend on
    drawer: Drawer,
    usable: BaseGeometry,
    pointer: str,
    profile: PanelProfile,
    layer: float,
    listed: int | None = None,
    sockets: FloorSockets | None = None,
) -> list[PanelLine]:
    """Return the lines of a drawer's panels, with their crossings, ends and thicknesses.

    Args:
        drawer: as measured.
        usable: its usable area, mm.
        pointer: JSON Pointer of the drawer.
        profile: of the panels.
        layer: layer height, mm, of which chosen thicknesses are a multiple.
        listed: number of panels that the spec lists; those after them belong to lanes. All by default.
        sockets: those of the floor that the panels stand on; None on the drawer's bare bottom.

    Raises:
        PanelError: if a panel has no place, does not stand, or is too near another.
    """
    own = len(drawer.panels) if listed is None else listed
    base = 0.0 if sockets is None else sockets.top
    lines = [
        _line(
            drawer,
            usable,
            index,
            panel,
            f"{pointer}/panels/{index}" if index < own else pointer,
            of_lane=index >= own,
            base=base,
        )
        for index, panel in enumerate(drawer.panels)
    ]
    flat, deep = ([line for line in lines if line.axis == axis] for axis in (0, 1))
    for first, other in itertools.product(flat, deep):
        _let_through(first, other)
        _let_through(other, first)
    for first, other in itertools.combinations(lines, 2):
        if first.axis == other.axis:
            _check_beside(first, other)
    for first, other in itertools.product(flat, deep):
        if _meet(first, other) and _meet(other, first):
            first.crossings.append(Crossing(other.at, other.index))
            other.crossings.append(Crossing(first.at, first.index))
    for line in lines:
        line.crossings.sort(key=lambda crossing: crossing.at)
        _settle_ends(line, profile)
        if sockets is not None and line.panel.feet:
            line.feet = feet_of(line, sockets, profile)
        _check_held(line)
        line.thickness = line.panel.thickness or _thickness(line.span, layer)
    return lines


def _line(
    drawer: Drawer, usable: BaseGeometry, index: int, panel: Panel, pointer: str, *, of_lane: bool, base: float
) -> PanelLine:
    left, front, _, _ = drawer.box
    origin = left + drawer.gap, front + drawer.gap
    axis = ("x", "y").index(panel.along)
    at = on_grid(panel.at - origin[1 - axis])
    height = panel.height or on_grid(drawer.height - FRAME_AIR)
    most = on_grid(drawer.height - FRAME_AIR)
    least = on_grid(LEAST_PANEL_HEIGHT + base)
    if not least - LENGTH_EPSILON <= height <= most + LENGTH_EPSILON:
        raise PanelError(
            f"{_named(panel, index)} is higher than the drawer is free." if height > most else
            f"{_named(panel, index)} is too low." if most >= least else "The drawer is too low for panels.",
            pointer=f"{pointer}/height", value=height, limit=f"{least:g} to {most:g} mm",
            remedy="Make the panel lower." if height > most else
            "Make the panel higher." if most >= least else "Use trays instead.",
        )  # fmt: skip
    half = (panel.thickness or _THICKNESSES[-1]) / 2.0 + _BESIDE
    stretches = [
        stretch
        for stretch in free_stretches(usable, axis, at - half, at + half)
        if stretch[1] - stretch[0] >= _LEAST_STRETCH
    ]
    given = [None if along is None else on_grid(along - origin[axis]) for along in (panel.start, panel.end)]
    ends_of = dict(zip(("start", "end"), given, strict=True))
    reference = next((name for name, along in ends_of.items() if along is not None), None)
    if reference is not None and stretches:
        at_end = ends_of[reference] or 0.0
        nearest = min(stretches, key=lambda stretch: max(stretch[0] - at_end, at_end - stretch[1], 0.0))
        stretches = [nearest]
    if of_lane and reference is None:
        # lanes lie in the largest rectangle that is free
        stretches = sorted(stretches, key=lambda stretch: stretch[0] - stretch[1])[:1]
    if not stretches:
        raise PanelError(
            f"{_named(panel, index)} has no room in the drawer.",
            pointer=f"{pointer}/at", value=panel.at,
            limit=f"a free stretch of {_LEAST_STRETCH:g} mm or more, clear of the sides and of obstacles",
            remedy="Move it, or give it a start and an end that are free.",
        )  # fmt: skip
    if len(stretches) > 1:
        texts = (f"{low + origin[axis]:g} to {high + origin[axis]:g} mm" for low, high in stretches)
        raise PanelError(
            f"An obstacle is in the way of {_named(panel, index)}.",
            pointer=f"{pointer}/at", value=panel.at, limit=" or ".join(texts),
            remedy="Give it a start or an end, or use two panels.",
        )  # fmt: skip
    ((low, high),) = stretches
    for name, along in ends_of.items():
        if along is not None and not low - LENGTH_EPSILON <= along <= high + LENGTH_EPSILON:
            raise PanelError(
                f"{_named(panel, index)} runs into an obstacle or the drawer's side.",
                pointer=f"{pointer}/{name}", value=getattr(panel, name),
                limit=f"{low + origin[axis]:g} to {high + origin[axis]:g} mm",
                remedy=f"Move its {name}; null lets it end at the drawer's side.",
            )  # fmt: skip
    ends: list[End] = ["side" if along is None else "free" for along in given]
    start, end = (free if along is None else along for along, free in zip(given, (low, high), strict=True))
    return PanelLine(index, panel, pointer, axis, at, on_grid(start), on_grid(end), on_grid(height - base), ends)


def _check_beside(first: PanelLine, other: PanelLine) -> None:
    apart = abs(first.at - other.at)
    if apart < LEAST_APART and first.start < other.end and other.start < first.end:
        raise PanelError(
            f"{_capital(first.name)} and {other.name} are too near each other.",
            pointer=f"{other.pointer}/at", value=other.panel.at,
            limit=f"at least {LEAST_APART:g} mm from the middle of the other",
            remedy="Move one of them, or make them one panel.",
        )  # fmt: skip


def _let_through(line: PanelLine, other: PanelLine) -> None:
    """Lengthen a panel that ends on another one, so that it is let through it."""
    if not other.start - LENGTH_EPSILON <= line.at <= other.end + LENGTH_EPSILON:
        return
    for place, along in enumerate((line.start, line.end)):
        if line.ends[place] == "free" and abs(along - other.at) < STUB:
            line.ends[place] = "panel"
            beyond = on_grid(other.at - STUB if place == 0 else other.at + STUB)
            if place == 0:
                line.start = beyond
            else:
                line.end = beyond
        elif line.ends[place] == "side" and abs(along - other.at) < STUB:
            raise PanelError(
                f"{_capital(other.name)} is too near the drawer's side to be crossed by {line.name}.",
                pointer=f"{other.pointer}/at", value=other.panel.at, limit=f"at least {STUB:g} mm from the side",
                remedy=f"Move it, or give {line.name} an end short of it.",
            )  # fmt: skip


def _meet(line: PanelLine, other: PanelLine) -> bool:
    """Return whether a panel runs through another one, with a stub on both sides.

    Raises:
        PanelError: if it ends in between.
    """
    return line.start + STUB <= other.at + LENGTH_EPSILON and other.at <= line.end - STUB + LENGTH_EPSILON


def _settle_ends(line: PanelLine, profile: PanelProfile) -> None:
    """Give a panel shoes where it meets the drawer's side and no crossing is in the way."""
    for place, along in enumerate((line.start, line.end)):
        near = min((abs(crossing.at - along) for crossing in line.crossings), default=inf)
        if line.ends[place] == "side" and near >= profile.shoe_depth + _FROM_SHOE:
            line.ends[place] = "shoe"


def _check_held(line: PanelLine) -> None:
    """Check that at least two things hold a panel.

    Raises:
        PanelError: if fewer do.
    """
    if len(line.holds) + len(line.feet) < 2:  # noqa: PLR2004 - both ends
        raise PanelError(
            f"Nothing holds {line.name} upright.",
            pointer=line.pointer, value=len(line.holds) + len(line.feet),
            limit="two holds: ends at the drawer's sides, panels that it crosses, or feet in the floor's sockets",
            remedy="Let it run from side to side, or let other panels cross it.",
        )  # fmt: skip


def feet_of(line: PanelLine, sockets: FloorSockets, profile: PanelProfile) -> list[PanelSocket]:
    """Return the sockets that a panel's feet stand in, in order along it.

    There is one near each end, and as many between them as leave no longer stretch than `FEET_APART`.

    Args:
        line: the panel with its crossings and ends.
        sockets: of the floor.
        profile: of the panels.
    """
    thickest = line.panel.thickness or _THICKNESSES[-1]
    kept = [profile.shoe_depth + _FROM_SHOE if end in {"shoe", "side"} else 0.0 for end in line.ends]
    low, high = line.start + kept[0], line.end - kept[1]
    free: list[PanelSocket] = []
    for socket in sockets.along(line.axis, line.at, foot_reach(thickest, sockets.joint, profile)):
        box = foot_box(socket, sockets.joint)
        crossed = any(socket.start < crossing.at < socket.end for crossing in line.crossings)
        if box is not None and low <= box[0] and box[1] <= high and not crossed:
            free.append(socket)
    chosen = free[:1] + free[1:][-1:]
    for first, last in itertools.pairwise(tuple(chosen)):
        stretches = ceil((last.middle - first.middle) / FEET_APART - LENGTH_EPSILON)
        wished = (first.middle + (last.middle - first.middle) * step / stretches for step in range(1, stretches))
        chosen += [min(free, key=lambda socket: abs(socket.middle - at)) for at in wished]
    return sorted(set(chosen))


def _thickness(span: float, layer: float) -> float:
    """Return the least thickness, mm, at which a stretch stands straight; a whole number of layers."""
    steps = (on_grid(ceil(thick / layer - LENGTH_EPSILON) * layer) for thick in _THICKNESSES)
    *_, last = chosen = list(steps)
    return next((thick for thick in chosen if span <= SLENDERNESS * thick), last)


def crossed(lines: Sequence[PanelLine]) -> Iterator[tuple[PanelLine, PanelLine]]:
    """Yield each pair of panels that cross, the one along x first."""
    for line in lines:
        if line.axis == 0:
            for crossing in line.crossings:
                yield line, lines[crossing.other]


def _named(panel: Panel, index: int) -> str:
    return _capital(panel.name or f"panel {index + 1}")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]

"""Obstacles to a splice: where its line must not lie, and where it can have no tab.

Coordinates are in the tray's frame, mm. A splice of axis ``x`` is a line at one x, from the front to the back.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

from worker.layout.model.shapes import Lettering, Ring, TrayShape, Wall
from worker.layout.tray.font import extent
from worker.layout.tray.grip_lips import grip_outline
from worker.layout.tray.joints.outlines import wall_taper
from worker.layout.tray.joints.profile import AIR, TAB_HEAD, TAB_REACH, Profile
from worker.layout.tray.pockets.pocket_outline import pocket_ring
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Obstacles", "Span"]

Axis = Literal["x", "y"]
Span = tuple[float, float]

#: Distance of a line from texts, of tabs and slots from pockets and wells, and from magnets.
_TEXT_MARGIN: Final = 6.0
_POCKET_MARGIN: Final = 3.0
_MAGNET_MARGIN: Final = 1.3
#: Plastic between a tab or slot and a divider or another splice's tab, at least.
_MARGIN: Final = 0.8
#: Distance of a line from the border of a foot's cell, beyond the corner's radius, on whole feet and on half feet.
_BORDER_MARGINS: Final = (1.0, 0.5)
#: Two tabs of one foot are at least this far apart, middle to middle.
_TABS_APART: Final = 16.0


@dataclass(frozen=True, slots=True)
class Obstacles:
    """Where splices of a tray can lie; ``shape`` is the tray without posts."""

    shape: TrayShape
    profile: Profile

    def length(self, axis: Axis) -> float:
        """Return the tray's outer size along an axis, mm."""
        return self.shape.halves[_index(axis)] * self.shape.pitch / 2.0 - 2.0 * self.shape.inset

    def windows(self, axis: Axis) -> tuple[Span, ...]:
        """Return where a splice's line may lie: inside a foot, so that both pieces stand on the bed everywhere there.

        What is forbidden by dividers, texts, pockets, wells, magnets, ramp and ledge is left out.
        """
        side, inset = self._side, self.shape.inset
        margin = max(CORNER_RADIUS + _BORDER_MARGINS[self.shape.half_feet], self._solid + self.profile.female)
        feet = round((self.length(axis) + 2.0 * inset) / side)
        free = [(foot * side + margin - inset, (foot + 1) * side - margin - inset) for foot in range(feet)]
        least = max(self.profile.ends) + self.profile.post + CORNER_RADIUS
        free = [(max(low, least), min(high, self.length(axis) - least)) for low, high in free]
        for low, high in self._forbidden(axis):
            free = [
                part
                for start, end in free
                for part in ((start, min(end, low)), (max(start, high), end))
                if part[0] <= part[1]
            ]
        return tuple(sorted({span for span in free if span[0] <= span[1] + LENGTH_EPSILON}))

    def tabs(self, axis: Axis, at: float, crossings: tuple[float, ...]) -> tuple[float, ...]:
        """Return the middles of the tabs along a splice, none nearer to anything than it must be.

        Args:
            axis: of the splice.
            at: its position on the axis.
            crossings: positions of the splices that cross it, on the other axis.
        """
        along: Axis = "y" if axis == "x" else "x"
        side, length = self._side, self.length(along)
        room = side / 2.0 - self._solid - TAB_HEAD - AIR
        if room < -LENGTH_EPSILON:
            return ()
        steps = (-side / 4.0, side / 4.0) if side / 4.0 <= room and side / 2.0 >= _TABS_APART else (0.0,)
        feet = round((length + 2.0 * self.shape.inset) / side)
        middles = [(foot + 0.5) * side - self.shape.inset + step for foot in range(feet) for step in steps]
        half = TAB_HEAD + AIR
        wall = max(self.profile.post, self.shape.wall)
        taken = [(-half, wall), (length - wall, length + half)]
        taken += [(place - self.profile.female - _MARGIN, place + self.profile.male + _MARGIN) for place in crossings]
        taken += [
            (wall.at - wall.thickness / 2.0 - AIR, wall.at + wall.thickness / 2.0 + AIR)
            for wall in self.across(axis, at)
        ]
        if axis == "x":  # ramp and ledge would stand over a tab that is lowered
            taken += self._under_slopes()
        return tuple(
            round(middle, 3)
            for middle in middles
            if all(
                middle + half <= low + LENGTH_EPSILON or middle - half >= high - LENGTH_EPSILON for low, high in taken
            )
        )

    def near_walls(self, axis: Axis, at: float) -> bool:
        """Return whether a divider crosses a splice so near a wall that it would stand in the slot's way."""
        along: Axis = "y" if axis == "x" else "x"
        least = self.profile.post + _MARGIN
        return any(
            wall.at - wall.thickness / 2.0 < least or wall.at + wall.thickness / 2.0 > self.length(along) - least
            for wall in self.across(axis, at)
        )

    @property
    def _side(self) -> float:
        return self.shape.pitch / (2.0 if self.shape.half_feet else 1.0)

    @property
    def _solid(self) -> float:
        """Distance from the border of a foot's cell from which on the foot is solid from the bed up."""
        return self.shape.foot_levels[0][0] + 2.0 * self.profile.line

    def across(self, axis: Axis, at: float) -> tuple[Wall, ...]:
        """Return the dividers that cross a splice or end near it."""
        low, high = at - self.profile.female - _MARGIN, at + self.profile.male + _MARGIN
        return tuple(
            wall
            for wall in self.shape.walls
            if wall.axis != axis and (wall.span is None or (wall.span[0] <= high and low <= wall.span[1]))
        )

    def _under_slopes(self) -> Iterator[Span]:
        """Yield where finger ramps and label ledge are, from the front to the back."""
        shape = self.shape
        if shape.ramp is not None:
            yield 0.0, shape.wall + shape.ramp.radius
            for inner in shape.ramp.inner:
                yield inner.at, inner.at + shape.ramp.radius
        if shape.ledge is not None:
            yield self.length("y") - shape.wall - shape.ledge.depth, self.length("y")

    def _forbidden(self, axis: Axis) -> Iterator[Span]:
        """Yield where no line may lie."""
        shape, before, behind = self.shape, self.profile.female, AIR / 2.0
        for wall in shape.walls:
            if wall.axis == axis:
                near, far = wall.at - wall.thickness / 2.0, wall.at + wall.thickness / 2.0
                yield near - behind - 2.0 * _MARGIN, far + before + _MARGIN
        for low, high in self._pockets(axis):
            yield low - behind - _POCKET_MARGIN, high + before + _POCKET_MARGIN
        if shape.magnets is not None:
            half = shape.magnets.diameter / 2.0 + _MAGNET_MARGIN
            for centre in shape.magnets.centres:
                place = centre[_index(axis)]
                yield place - half - behind, place + half + TAB_REACH + AIR
        for lettering in shape.letterings:
            span = _text_span(lettering, axis)
            if span is not None:
                yield span[0] - _TEXT_MARGIN, span[1] + _TEXT_MARGIN
        yield from self._grips(axis)
        if axis == "y":
            for low, high in self._under_slopes():
                yield low - _MARGIN, high + before + _MARGIN

    def _grips(self, axis: Axis) -> Iterator[Span]:
        """Yield where a line would cut a grip's lip, or put a post in it."""
        shape, profile = self.shape, self.profile
        outer = self.length("x"), self.length("y")
        taper = wall_taper(shape.wall, profile)
        for grip in shape.grips:
            along = [point[_index(axis)] for point in grip_outline(grip, outer, shape.wall)]
            if grip.axis == axis:  # the lip is along the line
                before, behind = AIR / 2.0, profile.female
            else:
                before, behind = (end + taper for end in reversed(profile.ends))
            yield min(along) - before - _MARGIN, max(along) + behind + _MARGIN

    def _pockets(self, axis: Axis) -> Iterator[Span]:
        rings: list[Ring] = [pocket_ring(pocket) for pocket in self.shape.pockets]
        rings += [well.outline for well in self.shape.wells]
        for ring in rings:
            along = [point[_index(axis)] for point in ring]
            yield min(along), max(along)


def _text_span(lettering: Lettering, axis: Axis) -> Span | None:
    """Return where a text begins and ends along an axis; None for one on a face that runs along a splice."""
    left, low, right, high = (bound * lettering.cap_height for bound in extent(lettering.text))
    if lettering.turn:
        reach = (right - left + high - low) / 2.0  # whatever its direction
        middle = lettering.at[("x", "y").index(axis)]
        return middle - reach, middle + reach
    if axis == "x":
        half = (right - left) / 2.0
        return lettering.at[0] - half, lettering.at[0] + half
    if lettering.face != "floor":
        return None
    middle = 0.5 * lettering.cap_height
    return lettering.at[1] + low - middle, lettering.at[1] + high - middle


def _index(axis: Axis) -> int:
    return ("x", "y").index(axis)

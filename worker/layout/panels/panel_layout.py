"""The layout of a drawer's panels: their strips, shoes, clips and feet in their places, before any part has a mark."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal, TypeAlias

import shapely
from shapely.geometry.base import BaseGeometry

from worker.layout.floor.print_bed import Bed
from worker.layout.model.part_registry import box_of
from worker.layout.model.shapes import ClipShape, ShoeShape, StripShape
from worker.layout.panels.clip import clip_widths, splice_clip
from worker.layout.panels.cuts import cuts_of, strips_between
from worker.layout.panels.foot import foot_box, panel_foot
from worker.layout.panels.lines import PanelLine, free_stretches, panel_lines
from worker.layout.panels.profile import CLIP, MOST_GAP, PRESS, TRAVEL, WINGS, PanelProfile
from worker.layout.panels.shoe import end_shoe, shoe_half, shoe_sizes
from worker.layout.panels.sockets import Box, FloorSockets
from worker.layout.panels.strength import buckling_load, wing_force
from worker.layout.panels.strip import Lap, lap_end, strip_outline
from worker.layout.placement.layers.panel_seats import Obstruction, PanelTop
from worker.layout.tray.interior import on_grid
from worker.spec.drawer.drawer import Drawer
from worker.spec.errors import PanelError

__all__ = ["Fitting", "PanelLayout", "PanelParts", "StripPart", "panel_layout"]

#: Safety against buckling that shoes are chosen for, and the greatest press of a shoe, N: more deters from inserting
#: the panel by hand (own choice).
_SAFETY: Final = 2.0
_MOST_PRESS: Final = 12.0
#: Air between parts that are not meant to touch, mm.
_APART: Final = 0.5

#: On which sides of a panel a shoe has wings, the best first: lesser and greater coordinates.
_SIDES: Final = ((1, 1), (0, 1), (1, 0))

_Turn: TypeAlias = Literal[0, 90, 180, 270]


@dataclass(frozen=True, slots=True)
class Fitting:
    """A shoe, clip or foot in its place: its shape, the rectangle it covers, how it is turned, z of its bottom; mm.

    ``wings`` are the lengths of a shoe's wings towards lesser and greater coordinates, mm.
    """

    shape: ShoeShape | ClipShape
    box: Box
    turn: _Turn
    z: float = 0.0
    wings: tuple[float, float] = (0.0, 0.0)

    @property
    def size(self) -> tuple[float, float, float]:
        """Its bounding box as it is printed, mm."""
        shape = self.shape
        if isinstance(shape, ShoeShape):
            return box_of(shape.outline, shape.height)
        return (*shape.size, shape.height)

    @property
    def top(self) -> float:
        """Height of its top above the drawer's bottom, mm."""
        return on_grid(self.z + self.shape.height)


@dataclass(frozen=True, slots=True)
class StripPart:
    """A strip of a panel and its name; ``start`` is where it begins along the panel, mm."""

    shape: StripShape
    name: str
    start: float


@dataclass
class PanelParts:
    """A panel with its strips and fittings. Lengths are along the panel, mm.

    ``shoes`` are by the end that they hold, 0 or 1; ``clips`` by the splice, ``feet`` by their middle.
    """

    line: PanelLine
    start: float
    end: float
    shoes: dict[int, Fitting] = field(default_factory=dict)
    cuts: tuple[float, ...] = ()
    clips: dict[float, Fitting] = field(default_factory=dict)
    feet: dict[float, Fitting] = field(default_factory=dict)
    overlap: float = 0.0
    strips: tuple[StripPart, ...] = ()

    def press(self, profile: PanelProfile) -> float:
        """Return the least force of its shoes on the drawer's side, N; one with a single wing has half of it."""
        forces = []
        for shoe in self.shoes.values():
            pair = wing_force(shoe.shape.height, profile.cheek, max(shoe.wings), PRESS)
            forces.append(pair * sum(wing > 0.0 for wing in shoe.wings) / 2.0)
        return min(forces, default=0.0)

    @property
    def band(self) -> Box:
        """The rectangle that its strips cover, mm."""
        return self.line.across(self.line.thickness / 2.0, self.start, self.end)


@dataclass
class PanelLayout:
    """The panels of a drawer in their places.

    ``base`` is the height that they stand at, mm; ``drawer`` the drawer with the panels of its lanes, of which the spec
    lists the first ``listed``.
    """

    drawer: Drawer
    pointer: str
    profile: PanelProfile
    parts: list[PanelParts]
    base: float
    listed: int

    @property
    def tops(self) -> tuple[PanelTop, ...]:
        """The top edges of the panels, of which those of the drawer's list come first."""
        return tuple(
            PanelTop(
                panel.line.name,
                panel.line.axis,
                panel.band,
                on_grid(self.base + panel.line.height),
                number < self.listed and panel.line.panel.name is not None,
            )
            for number, panel in enumerate(self.parts)
        )

    @property
    def obstructions(self) -> Iterator[Obstruction]:
        """What of the panels a tray on them must be clear of: shoes, clips and feet."""
        for panel in self.parts:
            for kind, fittings in (("shoe", panel.shoes), ("clip", panel.clips), ("foot", panel.feet)):
                for fitting in fittings.values():
                    name = f"the {kind} of panel {panel.line.name!r}"
                    yield Obstruction(name, fitting.box, fitting.top)

    @property
    def covered(self) -> Iterator[Box]:
        """The rectangles that strips, shoes, clips and feet cover, mm."""
        for panel in self.parts:
            yield panel.band
            for fitting in (*panel.clips.values(), *panel.feet.values()):
                yield fitting.box
            for place, shoe in panel.shoes.items():
                yield from self._shoe_boxes(panel.line, place, shoe)

    def _shoe_boxes(self, line: PanelLine, place: int, shoe: Fitting) -> Iterator[Box]:
        """Yield what a shoe covers: its wings along the drawer's side, and its hub with the cheeks."""
        low, high = (shoe.box[line.axis], shoe.box[line.axis + 2])
        across = shoe.box[1 - line.axis], shoe.box[3 - line.axis]
        wings = TRAVEL + self.profile.cheek
        near = (low, low + wings) if place == 0 else (high - wings, high)
        hub = shoe_half(line.thickness, 0.0, self.profile)
        yield line.between(*across, *near)
        yield line.between(line.at - hub, line.at + hub, low, high)


def panel_layout(  # noqa: PLR0917 - what a drawer's panels depend on
    drawer: Drawer,
    usable: BaseGeometry,
    pointer: str,
    profile: PanelProfile,
    bed: Bed,
    layer: float,
    *,
    floor: BaseGeometry | None = None,
    sockets: FloorSockets | None = None,
    listed: int | None = None,
) -> PanelLayout:
    """Return the panels of a drawer in their places.

    Args:
        drawer: as measured, with its panels.
        usable: its usable area, mm.
        pointer: JSON Pointer of the drawer.
        profile: of the panels.
        bed: where strips are printed.
        layer: layer height, mm.
        floor: the area of a floor of tiles beside the panels, which their shoes stay clear of; None without one.
        sockets: those of the floor that the panels stand on; None on the drawer's bare bottom.
        listed: number of panels that the spec lists; those after them belong to lanes. All by default.

    Raises:
        PanelError: if a panel has no place, does not stand, or cannot be printed.
    """
    base, own = (0.0 if sockets is None else sockets.top), (len(drawer.panels) if listed is None else listed)
    lines = panel_lines(drawer, usable, pointer, profile, layer, listed, sockets) if drawer.panels else []
    parts = _Laying(drawer, usable, profile, bed, lines, floor, sockets).laid()
    return PanelLayout(drawer, pointer, profile, parts, base, own)


@dataclass
class _Laying:
    """The state that the panels of one drawer share."""

    drawer: Drawer
    usable: BaseGeometry
    profile: PanelProfile
    bed: Bed
    lines: list[PanelLine]
    floor: BaseGeometry | None
    sockets: FloorSockets | None
    taken: list[Box] = field(default_factory=list)

    @property
    def base(self) -> float:
        """Height that strips, shoes and clips stand at, mm."""
        return 0.0 if self.sockets is None else self.sockets.top

    def laid(self) -> list[PanelParts]:
        # a panel ends at the drawer's sides until it has its shoes
        made = [PanelParts(line, line.start, line.end) for line in self.lines]
        for panel in made:
            self._fit_feet(panel)
        for panel in made:
            self._fit_shoes(panel, made)
        for panel in made:
            self._cut(panel, made)
        for panel in made:
            panel.strips = tuple(self._strips(panel))
            self._check(panel)
        return made

    # feet

    def _fit_feet(self, panel: PanelParts) -> None:
        """Give a panel its feet, which have their places in the floor."""
        line = panel.line
        for socket in line.feet:
            assert self.sockets is not None  # noqa: S101 - only sockets have feet
            covered = foot_box(socket, self.sockets.joint)
            if covered is None:
                continue
            start, end, low, high = covered
            shape = panel_foot(
                (on_grid(high - low), on_grid(end - start)),
                on_grid(line.at - low),
                (line.thickness, line.height),
                joint=self.sockets.joint,
                profile=self.profile,
            )
            fitting = Fitting(shape, line.between(low, high, start, end), 90 if line.axis == 0 else 0)
            panel.feet[socket.middle] = fitting
            self.taken.append(fitting.box)

    # shoes

    def _fit_shoes(self, panel: PanelParts, every: Sequence[PanelParts]) -> None:
        """Give a panel its shoes: the best wings that are clear of everything else."""
        line, profile = panel.line, self.profile
        overlap = on_grid(PRESS + min(self.drawer.gap, MOST_GAP))
        height = profile.shoe_height(line.height)
        most = min(_MOST_PRESS, buckling_load(line.span, line.height, line.thickness) / _SAFETY)
        both = line.ends == ["shoe", "shoe"]
        for place, end in enumerate(line.ends):
            if end != "shoe":
                continue
            sizes = shoe_sizes(height, PRESS, most, profile)
            for (low, up), (wing, high) in itertools.product(_SIDES, sizes):
                fitting = self._shoe(line, place, (low * wing, up * wing), high)
                if fitting is not None and self._clear(fitting.box, line, every):
                    panel.shoes[place] = fitting
                    self.taken.append(fitting.box)
                    panel.overlap = overlap
                    seat = TRAVEL + profile.hub - overlap
                    edge = 0 if line.axis == 0 else 1
                    if place == 0:
                        panel.start = on_grid(fitting.box[edge] + seat)
                    else:
                        panel.end = on_grid(fitting.box[edge + 2] - seat)
                    break
            else:
                self._no_shoe(line, place, both=both)

    def _no_shoe(self, line: PanelLine, place: int, *, both: bool) -> None:
        """Leave a shoe out where others hold the panel.

        Raises:
            PanelError: if nothing else holds it.
        """
        line.ends[place] = "side"
        if len(line.holds) + len(line.feet) < 2 or (both and not line.crossings and not line.feet):  # noqa: PLR2004 - two holds
            half = shoe_half(line.thickness, WINGS[0], self.profile)
            raise PanelError(
                f"There is no room for a shoe at the {('start', 'end')[place]} of {line.name}.",
                pointer=f"{line.pointer}/at", value=line.panel.at,
                limit=f"{half:g} mm of free side to each side of its middle",
                remedy="Move it away from the corner, the obstacle or the other panel.",
            )  # fmt: skip

    def _shoe(self, line: PanelLine, place: int, wings: tuple[float, float], high: float) -> Fitting | None:
        """Return a shoe at an end of a panel, or None if it would leave the usable area or meet the floor.

        Args:
            line: the panel.
            place: 0 at its start, 1 at its end.
            wings: lengths towards lesser and greater coordinates of the drawer, mm; 0 for none.
            high: height of the shoe, mm.
        """
        profile = self.profile
        low, up = (shoe_half(line.thickness, wing, profile) for wing in wings)
        axis, depth = line.axis, profile.shoe_depth
        middle = (line.start + line.end) / 2.0
        stretches = free_stretches(self.usable, axis, line.at - low, line.at + up)
        stretch = next((ends for ends in stretches if ends[0] <= middle <= ends[1]), None)
        if stretch is None:
            return None
        near = line.start if place == 0 else line.end
        side = stretch[place]
        # a side that is far behind the strip's end is no side for the shoe
        if abs(side - near) > depth:
            return None
        start, end = (side, side + depth) if place == 0 else (side - depth, side)
        box = line.between(line.at - low, line.at + up, on_grid(start), on_grid(end))
        if not self._is_bare(box):
            return None
        turn: _Turn = ((0, 180), (90, 270))[axis][place]
        # turned like this, the shoe's own greater y points to lesser coordinates of the drawer
        own = wings[::-1] if turn in {90, 180} else wings
        return Fitting(end_shoe(line.thickness, high, own, profile), box, turn, self.base, wings)

    def _is_bare(self, box: Box) -> bool:
        """Return whether a rectangle lies in the usable area and off the floor of tiles."""
        rectangle = shapely.box(*box)
        return bool(self.usable.covers(rectangle)) and (self.floor is None or not self.floor.intersects(rectangle))

    def _is_carried(self, box: Box) -> bool:
        """Return whether a clip on a rectangle stands on something."""
        return self.sockets is None or self.sockets.carries(box)

    def _clear(self, box: Box, own: PanelLine, every: Sequence[PanelParts]) -> bool:
        """Return whether a rectangle is clear of other panels and of fittings."""
        left, front, right, back = box
        others = [*self.taken, *(panel.band for panel in every if panel.line.index != own.index)]
        return not any(
            left < r + _APART and l - _APART < right and front < b + _APART and f - _APART < back
            for l, f, r, b in others  # noqa: E741 - left of the other
        )

    # strips and clips

    def _cut(self, panel: PanelParts, every: Sequence[PanelParts]) -> None:
        """Cut a panel into strips, with a clip below each splice that has room for it."""
        line = panel.line
        thickest = max((self.lines[crossing.other].thickness for crossing in line.crossings), default=0.0)
        panel.cuts = cuts_of(line, panel.start, panel.end, self.bed, thickest, self.sockets)
        for at in panel.cuts:
            for width in clip_widths(line.thickness, self.profile):
                box = line.across(width / 2.0, at - CLIP / 2.0, at + CLIP / 2.0)
                if self._clear(box, line, every) and self._is_bare(box) and self._is_carried(box):
                    shape = splice_clip(line.thickness, line.height, width, self.profile)
                    panel.clips[at] = Fitting(shape, box, 90 if line.axis == 0 else 0, self.base)
                    self.taken.append(box)
                    break

    def _laps(self, panel: PanelParts) -> Iterator[Lap]:
        for crossing in panel.line.crossings:
            other = self.lines[crossing.other]
            above = panel.line.axis == 0
            low = min(panel.line.height, other.height)
            width = on_grid(other.thickness + 2.0 * self.profile.air)
            yield Lap(crossing.at, width, lap_end(low, open_above=above), above)

    def _strips(self, panel: PanelParts) -> Iterator[StripPart]:
        line, laps = panel.line, list(self._laps(panel))
        strips = strips_between(panel.start, panel.end, panel.cuts)
        for number, (start, end) in enumerate(strips, start=1):
            spliced = number > 1, number < len(strips)
            ring = strip_outline(
                (start, end), line.height, self.profile,
                spliced=spliced,
                laps=[lap for lap in laps if start < lap.at < end],
                clips=[at for at in panel.clips if start - CLIP < at < end + CLIP],
            )  # fmt: skip
            name = line.name if len(strips) == 1 else f"{line.name} {number}/{len(strips)}"
            yield StripPart(
                StripShape(ring, line.thickness), name, on_grid(start + self.profile.air / 2.0 * spliced[0])
            )

    def _check(self, panel: PanelParts) -> None:
        """Check that the parts of a panel fit the bed, and that its shoes do not bend it.

        Raises:
            PanelError: if they do not.
        """
        line = panel.line
        sizes = [(strip.name, box_of(strip.shape.outline, line.thickness)) for strip in panel.strips]
        sizes += [(f"a fitting of {line.name}", fitting.size) for fitting in (*panel.shoes.values(),
                  *panel.clips.values(), *panel.feet.values())]  # fmt: skip
        for name, (wide, deep, _) in sizes:
            if not self.bed.holds(wide, deep):
                raise PanelError(
                    f"A part of {line.name} does not fit the bed: {name}.",
                    pointer=line.pointer, value=[wide, deep], limit="a part that fits the bed",
                    remedy="Make the panel lower.",
                )  # fmt: skip
        press = panel.press(self.profile)
        buckling = buckling_load(line.span, line.height, line.thickness)
        if press > buckling:
            raise PanelError(
                f"The shoes of {line.name} would bend it.",
                pointer=f"{line.pointer}/thickness", value=line.thickness,
                limit=f"a buckling load of {press:.1f} N, not {buckling:.1f} N, over {line.span:g} mm",
                remedy="Make it thicker, or let other panels cross it.",
            )  # fmt: skip

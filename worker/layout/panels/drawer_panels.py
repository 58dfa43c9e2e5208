"""The panels of a drawer: their strips, shoes and clips with their positions, and what each panel holds."""

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal, TypeAlias

import shapely
from shapely.geometry.base import BaseGeometry

from worker.layout.floor.print_bed import Bed
from worker.layout.model.part_registry import Register, box_of
from worker.layout.model.plan import PanelPlan
from worker.layout.model.shapes import ClipShape, Lettering, Placement, ShoeShape, StripShape
from worker.layout.panels.clip import clip_mark, clip_widths, splice_clip
from worker.layout.panels.cuts import cuts_of, strips_between
from worker.layout.panels.lines import PanelLine, free_stretches, panel_lines
from worker.layout.panels.profile import CLIP, MOST_GAP, PRESS, TRAVEL, WINGS, PanelProfile
from worker.layout.panels.shoe import end_shoe, shoe_half, shoe_mark, shoe_sizes
from worker.layout.panels.strength import (
    buckling_load,
    push_load,
    splice_pull,
    tipping_load,
    wing_force,
)
from worker.layout.panels.strip import Lap, lap_end, strip_mark, strip_outline, tab_count
from worker.layout.tray.interior import on_grid
from worker.spec.drawer.drawer import Drawer
from worker.spec.errors import PanelError

__all__ = ["DrawerPanels", "lay_panels"]

#: Safety against buckling that shoes are chosen for, and the greatest press of a shoe, N: more deters from inserting
#: the panel by hand (own choice).
_SAFETY: Final = 2.0
_MOST_PRESS: Final = 12.0
#: Air between parts that are not meant to touch, mm.
_APART: Final = 0.5
#: A push at the top edge that a panel should stand, N (own choice: a light touch).
_LEAST_PUSH: Final = 1.0

#: On which sides of a panel a shoe has wings, the best first: lesser and greater coordinates.
_SIDES: Final = ((1, 1), (0, 1), (1, 0))

_Box: TypeAlias = tuple[float, float, float, float]
_Turn: TypeAlias = Literal[0, 90, 180, 270]


@dataclass(frozen=True)
class DrawerPanels:
    """The placements of a drawer's panels, and the panels; both refer to the placements by index from 0."""

    placements: tuple[Placement, ...] = ()
    panels: tuple[PanelPlan, ...] = ()

    def shifted(self, start: int) -> tuple[PanelPlan, ...]:
        """Return the panels with indices that count from ``start``."""
        return tuple(
            replace(
                panel,
                pieces=tuple(start + index for index in panel.pieces),
                shoes=tuple(start + index for index in panel.shoes),
                clips=tuple(start + index for index in panel.clips),
            )
            for panel in self.panels
        )


@dataclass
class _Fitting:
    """A shoe or clip in its place: its shape, the rectangle it covers, and how it is turned."""

    shape: ShoeShape | ClipShape
    box: _Box
    turn: _Turn
    wings: tuple[float, float] = (0.0, 0.0)


@dataclass
class _Made:
    """A panel with its strips and fittings, before they have marks. Lengths are along the panel, mm."""

    line: PanelLine
    start: float
    end: float
    shoes: dict[int, _Fitting] = field(default_factory=dict)
    cuts: tuple[float, ...] = ()
    clips: dict[float, _Fitting] = field(default_factory=dict)
    overlap: float = 0.0


def lay_panels(  # noqa: PLR0917 - what a drawer's panels depend on
    drawer: Drawer,
    usable: BaseGeometry,
    pointer: str,
    profile: PanelProfile,
    bed: Bed,
    layer: float,
    register: Register,
    floor: BaseGeometry | None = None,
    listed: int | None = None,
) -> DrawerPanels:
    """Return the panels of a drawer; their parts are entered into the register.

    Args:
        drawer: as measured.
        usable: its usable area, mm.
        pointer: JSON Pointer of the drawer.
        profile: of the panels.
        bed: where strips are printed.
        layer: layer height, mm.
        register: of the job's parts.
        floor: the area of a floor of tiles beside the panels, which their shoes stay clear of; None without one.
        listed: number of panels that the spec lists; those after them belong to lanes.

    Raises:
        PanelError: if a panel has no place, does not stand, or cannot be printed.
    """
    if not drawer.panels:
        return DrawerPanels()
    lines = panel_lines(drawer, usable, pointer, profile, layer, listed)
    return _Laying(drawer, usable, pointer, profile, bed, register, lines, floor).laid()


@dataclass
class _Laying:
    """The state that the panels of one drawer share."""

    drawer: Drawer
    usable: BaseGeometry
    pointer: str
    profile: PanelProfile
    bed: Bed
    register: Register
    lines: list[PanelLine]
    floor: BaseGeometry | None
    taken: list[_Box] = field(default_factory=list)

    def laid(self) -> DrawerPanels:
        # a panel ends at the drawer's sides until it has its shoes
        made = [_Made(line, line.start, line.end) for line in self.lines]
        for panel in made:
            self._fit_shoes(panel, made)
        for panel in made:
            self._cut(panel, made)
        placements: list[Placement] = []
        plans = [self._entered(panel, placements) for panel in made]
        for panel, plan in zip(made, plans, strict=True):
            self._warn(panel, plan)
        return DrawerPanels(tuple(placements), tuple(plans))

    # shoes

    def _fit_shoes(self, panel: _Made, every: Sequence[_Made]) -> None:
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
        if len(line.holds) < 2 or (both and not line.crossings):  # noqa: PLR2004 - two holds
            half = shoe_half(line.thickness, WINGS[0], self.profile)
            raise PanelError(
                f"There is no room for a shoe at the {('start', 'end')[place]} of {line.name}.",
                pointer=f"{line.pointer}/at", value=line.panel.at,
                limit=f"{half:g} mm of free side to each side of its middle",
                remedy="Move it away from the corner, the obstacle or the other panel.",
            )  # fmt: skip

    def _shoe(self, line: PanelLine, place: int, wings: tuple[float, float], high: float) -> _Fitting | None:
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
        return _Fitting(end_shoe(line.thickness, high, own, profile), box, turn, wings)

    def _is_bare(self, box: _Box) -> bool:
        """Return whether a rectangle lies in the usable area and off the floor of tiles."""
        rectangle = shapely.box(*box)
        return bool(self.usable.covers(rectangle)) and (self.floor is None or not self.floor.intersects(rectangle))

    def _clear(self, box: _Box, own: PanelLine, every: Sequence[_Made]) -> bool:
        """Return whether a rectangle is clear of other panels and of fittings."""
        left, front, right, back = box
        others = list(self.taken)
        others += [
            panel.line.across(panel.line.thickness / 2.0, panel.start, panel.end)
            for panel in every
            if panel.line.index != own.index
        ]
        return not any(
            left < r + _APART and l - _APART < right and front < b + _APART and f - _APART < back
            for l, f, r, b in others  # noqa: E741 - left of the other
        )

    # strips and clips

    def _cut(self, panel: _Made, every: Sequence[_Made]) -> None:
        """Cut a panel into strips, with a clip below each splice that has room for it."""
        line = panel.line
        thickest = max((self.lines[crossing.other].thickness for crossing in line.crossings), default=0.0)
        panel.cuts = cuts_of(line, panel.start, panel.end, self.bed, thickest)
        for at in panel.cuts:
            for width in clip_widths(line.thickness, self.profile):
                box = line.across(width / 2.0, at - CLIP / 2.0, at + CLIP / 2.0)
                if self._clear(box, line, every) and self._is_bare(box):
                    shape = splice_clip(line.thickness, line.height, width, self.profile)
                    panel.clips[at] = _Fitting(shape, box, 90 if line.axis == 0 else 0)
                    self.taken.append(box)
                    break

    def _laps(self, panel: _Made) -> Iterator[Lap]:
        for crossing in panel.line.crossings:
            other = self.lines[crossing.other]
            above = panel.line.axis == 0
            low = min(panel.line.height, other.height)
            width = on_grid(other.thickness + 2.0 * self.profile.air)
            yield Lap(crossing.at, width, lap_end(low, open_above=above), above)

    # marks and placements

    def _entered(self, panel: _Made, placements: list[Placement]) -> PanelPlan:
        """Enter the parts of a panel, add their placements, and return its plan."""
        line = panel.line
        pieces = [len(placements) + number for number in range(len(panel.cuts) + 1)]
        placements += self._strips(panel)
        shoes = [len(placements) + number for number in range(len(panel.shoes))]
        placements += [self._fitting("shoe", "end shoe", panel.shoes[place], line) for place in sorted(panel.shoes)]
        clips = [len(placements) + number for number in range(len(panel.clips))]
        placements += [self._fitting("clip", "panel clip", panel.clips[at], line) for at in sorted(panel.clips)]
        press = [
            _press(fitting, self.profile) for fitting in panel.shoes.values() if isinstance(fitting.shape, ShoeShape)
        ]
        force = min(press, default=0.0)
        return PanelPlan(
            name=line.name,
            along=line.panel.along,
            at=line.at,
            start=panel.start,
            end=panel.end,
            height=line.height,
            thickness=line.thickness,
            pieces=tuple(pieces),
            shoes=tuple(shoes),
            clips=tuple(clips),
            crossings=tuple(crossing.at for crossing in line.crossings),
            crossed=tuple(crossing.other for crossing in line.crossings),
            splices=panel.cuts,
            air=self.profile.air,
            overlap=panel.overlap,
            span=line.span,
            press=force,
            buckling=buckling_load(line.span, line.height, line.thickness),
            push=push_load(line.span, line.height, line.thickness),
            tipping=None if line.crossings else self._tipping(panel, force),
            pull=splice_pull(tab_count(line.height), line.thickness, self.profile) if panel.cuts else None,
        )

    def _tipping(self, panel: _Made, press: float) -> float:
        line = panel.line
        held = [
            (fitting.shape.height, shoe_half(line.thickness, max(fitting.wings), self.profile))
            for fitting in panel.shoes.values()
            if isinstance(fitting.shape, ShoeShape)
        ]
        return tipping_load(panel.end - panel.start, line.height, line.thickness, held, press)

    def _strips(self, panel: _Made) -> Iterator[Placement]:
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
            shape = StripShape(ring, line.thickness)
            mark = self._enter("panel", name, shape, box_of(ring, line.thickness), strip_mark, line)
            x, y = on_grid(start + self.profile.air / 2.0 * spliced[0]), on_grid(line.at - line.thickness / 2.0)
            at = (x, y, 0.0) if line.axis == 0 else (y, x, 0.0)
            yield Placement(mark, at, 0 if line.axis == 0 else 90, name=line.name, upright=True)

    def _fitting(self, kind: Literal["shoe", "clip"], name: str, fitting: _Fitting, line: PanelLine) -> Placement:
        shape = fitting.shape
        if isinstance(shape, ShoeShape):
            mark = self._enter(kind, name, shape, box_of(shape.outline, shape.height), shoe_mark, line)
        else:
            mark = self._enter(kind, name, shape, (*shape.size, shape.height), clip_mark, line)
        left, front, _, _ = fitting.box
        return Placement(mark, (on_grid(left), on_grid(front), 0.0), fitting.turn, name=line.name)

    def _enter(  # noqa: PLR0917 - a part's fields
        self,
        kind: Literal["panel", "shoe", "clip"],
        name: str,
        shape: Any,
        size: tuple[float, float, float],
        room: Callable[..., Lettering | None],
        line: PanelLine,
    ) -> str:
        if not self.bed.holds(size[0], size[1]):
            raise PanelError(
                f"The {name} of {line.name} does not fit the bed.",
                pointer=line.pointer, value=[size[0], size[1]], limit="a part that fits the bed",
                remedy="Make the panel lower.",
            )  # fmt: skip

        def lettering(shape: Any, mark: str) -> Lettering | None:
            return room(shape, mark, line_width=self.profile.line)

        return self.register.enter(
            kind, name, shape, size, count=self.drawer.copies, room=lettering, pointer=line.pointer
        )

    # warnings

    def _warn(self, panel: _Made, plan: PanelPlan) -> None:
        """Warn of what a panel does not stand.

        Raises:
            PanelError: if its shoes would bend it.
        """
        line = panel.line
        if plan.press > plan.buckling:
            raise PanelError(
                f"The shoes of {line.name} would bend it.",
                pointer=f"{line.pointer}/thickness", value=line.thickness,
                limit=f"a buckling load of {plan.press:.1f} N, not {plan.buckling:.1f} N, over {plan.span:g} mm",
                remedy="Make it thicker, or let other panels cross it.",
            )  # fmt: skip
        if plan.push < _LEAST_PUSH:
            self.register.warn_at(
                line.pointer,
                f"{_capital(line.name)} is slack: a push of {plan.push:.1f} N bends it by 5 mm over {plan.span:g} mm. "
                "Make it thicker, or let another panel cross it.",
            )
        if plan.tipping is not None and plan.tipping < _LEAST_PUSH:
            self.register.warn_at(
                line.pointer,
                f"{_capital(line.name)} tips over under a push of {plan.tipping:.1f} N at its top edge. Let another "
                "panel cross it, or put double-sided tape under its shoes' wings.",
            )
        if len(panel.clips) < len(panel.cuts):
            self.register.warn_at(
                line.pointer,
                f"A splice of {line.name} has no room for a clip: put a drop of glue in its seam.",
            )
        if self.drawer.gap > MOST_GAP and plan.shoes:
            self.register.warn_at(
                f"{self.pointer}/gap",
                f"The shoes of panels make up for a gap of {MOST_GAP:g} mm at most: they will not press on the sides.",
            )


def _press(shoe: _Fitting, profile: PanelProfile) -> float:
    """Return the force of a shoe on the drawer's side in N; one with a single wing has half of it."""
    pair = wing_force(shoe.shape.height, profile.cheek, max(shoe.wings), PRESS)
    return pair * sum(wing > 0.0 for wing in shoe.wings) / 2.0


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]

"""The parts of a drawer's panels: their marks and placements, and what each panel holds."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal

from worker.layout.model.part_registry import Register, box_of
from worker.layout.model.plan import PanelPlan
from worker.layout.model.shapes import Lettering, Placement, ShoeShape
from worker.layout.panels.clip import clip_mark
from worker.layout.panels.lines import PanelLine
from worker.layout.panels.panel_layout import Fitting, PanelLayout, PanelParts
from worker.layout.panels.profile import MOST_GAP
from worker.layout.panels.shoe import shoe_half, shoe_mark
from worker.layout.panels.strength import buckling_load, push_load, splice_pull, tipping_load
from worker.layout.panels.strip import strip_mark, tab_count
from worker.layout.tray.interior import on_grid

__all__ = ["DrawerPanels", "enter_panels"]

#: A push at the top edge that a panel should stand, N (own choice: a light touch).
_LEAST_PUSH: Final = 1.0


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
                feet=tuple(start + index for index in panel.feet),
            )
            for panel in self.panels
        )


def enter_panels(layout: PanelLayout, register: Register) -> DrawerPanels:
    """Return the panels of a drawer with their parts, which are entered into the register.

    Args:
        layout: the panels in their places.
        register: of the job's parts.
    """
    return _Entering(layout, register).entered()


@dataclass
class _Entering:
    """Enters the parts of a drawer's panels."""

    layout: PanelLayout
    register: Register
    placements: list[Placement] = field(default_factory=list)

    def entered(self) -> DrawerPanels:
        plans = [self._panel(panel) for panel in self.layout.parts]
        for panel, plan in zip(self.layout.parts, plans, strict=True):
            self._warn(panel, plan)
        return DrawerPanels(tuple(self.placements), tuple(plans))

    def _panel(self, panel: PanelParts) -> PanelPlan:
        """Enter the parts of a panel, add their placements, and return its plan."""
        line, profile = panel.line, self.layout.profile
        press = panel.press(profile)
        return PanelPlan(
            name=line.name,
            along=line.panel.along,
            at=line.at,
            start=panel.start,
            end=panel.end,
            z=self.layout.base,
            height=line.height,
            thickness=line.thickness,
            pieces=self._added(self._strips(panel)),
            shoes=self._added(
                self._fitting("shoe", "end shoe", panel.shoes[place], line) for place in sorted(panel.shoes)
            ),
            clips=self._added(self._fitting("clip", "panel clip", panel.clips[at], line) for at in sorted(panel.clips)),
            feet=self._added(self._fitting("clip", "panel foot", panel.feet[at], line) for at in sorted(panel.feet)),
            crossings=tuple(crossing.at for crossing in line.crossings),
            crossed=tuple(crossing.other for crossing in line.crossings),
            splices=panel.cuts,
            air=profile.air,
            clearance=profile.clearance,
            overlap=panel.overlap,
            span=line.span,
            press=press,
            buckling=buckling_load(line.span, line.height, line.thickness),
            push=push_load(line.span, line.height, line.thickness),
            tipping=None if line.crossings else self._tipping(panel, press),
            pull=splice_pull(tab_count(line.height), line.thickness, profile) if panel.cuts else None,
        )

    def _added(self, placements: Iterator[Placement]) -> tuple[int, ...]:
        """Add placements, and return their indices."""
        first = len(self.placements)
        self.placements += placements
        return tuple(range(first, len(self.placements)))

    def _tipping(self, panel: PanelParts, press: float) -> float:
        line = panel.line
        shoes = [
            (shoe.shape.height, shoe_half(line.thickness, max(shoe.wings), self.layout.profile))
            for shoe in panel.shoes.values()
        ]
        feet = [
            min(line.at - foot.box[1 - line.axis], foot.box[3 - line.axis] - line.at) for foot in panel.feet.values()
        ]
        return tipping_load(panel.end - panel.start, line.height, line.thickness, shoes, press, feet)

    def _strips(self, panel: PanelParts) -> Iterator[Placement]:
        line = panel.line
        for strip in panel.strips:
            shape = strip.shape
            mark = self._enter("panel", strip.name, shape, box_of(shape.outline, shape.height), strip_mark, line)
            x, y = strip.start, on_grid(line.at - line.thickness / 2.0)
            at = (x, y) if line.axis == 0 else (y, x)
            yield Placement(mark, (*at, self.layout.base), 0 if line.axis == 0 else 90, name=line.name, upright=True)

    def _fitting(self, kind: Literal["shoe", "clip"], name: str, fitting: Fitting, line: PanelLine) -> Placement:
        shape = fitting.shape
        room = shoe_mark if isinstance(shape, ShoeShape) else clip_mark
        mark = self._enter(kind, name, shape, fitting.size, room, line)
        left, front, _, _ = fitting.box
        return Placement(mark, (on_grid(left), on_grid(front), fitting.z), fitting.turn, name=line.name)

    def _enter(  # noqa: PLR0917 - a part's fields
        self,
        kind: Literal["panel", "shoe", "clip"],
        name: str,
        shape: Any,
        size: tuple[float, float, float],
        room: Callable[..., Lettering | None],
        line: PanelLine,
    ) -> str:
        def lettering(shape: Any, mark: str) -> Lettering | None:
            return room(shape, mark, line_width=self.layout.profile.line)

        return self.register.enter(
            kind, name, shape, size, count=self.layout.drawer.copies, room=lettering, pointer=line.pointer
        )

    def _warn(self, panel: PanelParts, plan: PanelPlan) -> None:
        """Warn of what a panel does not stand."""
        line = panel.line
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
        if self.layout.base and line.panel.feet and not panel.feet:
            self.register.warn_at(
                line.pointer,
                f"{_capital(line.name)} has no feet: there is no socket with room to both sides of it. Move it towards "
                "the middle of a row of cells.",
            )
        if len(panel.clips) < len(panel.cuts):
            self.register.warn_at(
                line.pointer,
                f"A splice of {line.name} has no room for a clip: put a drop of glue in its seam.",
            )
        if self.layout.drawer.gap > MOST_GAP and plan.shoes:
            self.register.warn_at(
                f"{self.layout.pointer}/gap",
                f"The shoes of panels make up for a gap of {MOST_GAP:g} mm at most: they will not press on the sides.",
            )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]

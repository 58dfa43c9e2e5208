"""The trays of a job as they are printed: each for the printer that it is made for."""

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeVar

from worker.layout.floor.print_bed import Bed
from worker.layout.model.part_registry import Register
from worker.layout.model.plan import Stored
from worker.layout.model.shapes import Post
from worker.layout.model.tray_places import MadeFor, TrayPlace
from worker.layout.tray.font import least_cap
from worker.layout.tray.joints.cut_sizes import MOST_PIECES
from worker.layout.tray.made_tray import MadeTray, TrayMaker
from worker.layout.tray.text import left_out
from worker.spec import Spec
from worker.spec.drawer.joint import Joint
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["JobTrays"]

_T = TypeVar("_T")


@dataclass(frozen=True)
class JobTrays:
    """Makes the trays of a job.

    Those at the places in ``made_for`` are made for the printers named there, if they can be.
    """

    spec: Spec
    joint: Joint
    register: Register
    made_for: MadeFor = field(default_factory=dict)
    _makers: dict[str | None, TrayMaker] = field(default_factory=dict, init=False, compare=False)

    @cached_property
    def other_printers(self) -> tuple[str, ...]:
        """Printers that trays can be made for besides the one that all trays are made for."""
        own = getattr(self.spec.printer_of("tray"), "name", None)
        return tuple(name for name in self.spec.designs if name != own)

    def made_at(
        self, place: TrayPlace, tray: Tray, pointer: str, stored: Iterable[Stored], *, half_feet: bool
    ) -> tuple[MadeTray, str | None]:
        """Return a tray as it is printed, and the printer that it is made for; None for that of all trays.

        It is made as all trays where it cannot be made for the printer of its place, or not around what is ``stored``,
        given in the tray's frame.

        Raises:
            TrayError: if it can be made for no printer.
        """

        def make(printer: str | None) -> MadeTray:
            return self.made_tray(tray, pointer, half_feet=half_feet, printer=printer)

        as_all, printer = self.as_all(make), self.made_for.get(place)
        if printer is not None:
            with suppress(TrayError):
                made = make(printer)
                if _holds(made, as_all[0], tuple(stored)):
                    return made, printer
        return as_all

    def as_all(self, make: Callable[[str | None], _T]) -> tuple[_T, str | None]:
        """Return what is made for the printer of all trays, or else for the first other for which it can be.

        Args:
            make: makes it for a printer, for None that of all trays; it raises `TrayError` where it cannot be.

        Raises:
            TrayError: if it can be made for none: why not for that of all trays.
        """
        try:
            return make(None), None
        except TrayError:
            for printer in self.other_printers:
                with suppress(TrayError):
                    return make(printer), printer
            raise

    def made_tray(self, tray: Tray, pointer: str, *, half_feet: bool, printer: str | None = None) -> MadeTray:
        """Return a tray as it is printed, checked against a printer; for None, against that of all trays.

        Raises:
            TrayError: if the tray cannot be made or does not fit the printer.
        """
        line_width, most = self.spec.line_width_of("tray"), self.spec.printer_of("tray", printer).bed[2]
        if tray.text is not None and left_out(tray.text, line_width):
            least = f"Letters of {line_width:g} mm lines print from {least_cap(line_width):g} mm on"
            message = (
                f"{least}, so the text of tray {tray.name!r} is left out. Make it larger, or use a smaller nozzle."
            )
            self.register.warn_at(f"{pointer}/text/cap_height", message)
        made = self._maker(printer).made(tray, half_feet=half_feet, pointer=pointer)
        if tray.height > most + LENGTH_EPSILON:
            raise TrayError(
                f"Tray {tray.name!r} is taller than the printer can print.",
                pointer=f"{pointer}/height",
                value=tray.height,
                limit=f"at most {most:g} mm",
                remedy="Make the tray lower.",
            )
        return made

    def _maker(self, name: str | None) -> TrayMaker:
        """Return what makes trays for a printer, for None that of all trays."""
        if name not in self._makers:
            printer = self.spec.printer_of("tray", name)
            self._makers[name] = TrayMaker(
                joint=self.joint,
                pitch=self.spec.grid.pitch,
                line_width=printer.line_width,
                beds=Bed.of_printer(printer).rooms,
                bed=f"{printer.usable[0]:g} x {printer.usable[1]:g} mm, clear of forbidden rectangles",
                joints=self.spec.joints,
            )
        return self._makers[name]


def _holds(made: MadeTray, as_all: MadeTray, stored: Sequence[Stored]) -> bool:
    """Return whether a tray holds what was laid out for it as it is made like all trays; boxes are in its frame."""
    if not stored:
        return True
    clear = not any(_stands_in(post, lot) for lot in stored for post in made.whole.posts)
    return clear and made.whole.grips == as_all.whole.grips and len(made.parts) <= MOST_PIECES


def _stands_in(post: Post, lot: Stored) -> bool:
    """Return whether a post stands in the box around things; both in one frame."""
    return all(
        min(along) < at + size - LENGTH_EPSILON and at < max(along) - LENGTH_EPSILON
        for along, at, size in zip(zip(*post.outline, strict=True), lot.at, lot.size, strict=False)
    )

"""The schedule: printers, the hours in which they may print, and the hours in which somebody is present."""

import re
from datetime import datetime
from typing import Annotated, Any, Final, Literal, Self, TypeAlias, get_args
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.manifest.fields import Colour
from worker.spec.primitives.model import Noun
from worker.spec.primitives.moment import FIRST_YEAR, LAST_YEAR, read_moment, within_years
from worker.spec.primitives.names import Name, Number
from worker.spec.primitives.pydantic_errors import Refusals, refusal

__all__ = ["DAYS", "Day", "Goal", "LoadedSpool", "Schedule", "SchedulePrinter", "Window"]

Day: TypeAlias = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
#: Monday is 0, as for `datetime.weekday`.
DAYS: Final[tuple[Day, ...]] = get_args(Day)

#: finish: all printed as soon as possible. drawers: a drawer at a time. visits: the fewest visits to the printers.
#: quiet_nights: as little printing in quiet hours as possible.
Goal: TypeAlias = Literal["finish", "drawers", "visits", "quiet_nights"]

_CLOCK: Final = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]|24:00", re.ASCII)
_MOMENT: Final = "a date and time as in 2026-03-01T18:00 or 2026-03-01T18:00+01:00 (RFC 3339)"


def _clock(text: str) -> str:
    if not _CLOCK.fullmatch(text):
        error = SpecError(
            "The value is not a time of day.",
            value=text, limit="00:00 to 24:00", remedy='Write "07:30", for example.',
        )  # fmt: skip
        raise refusal(error)
    return text


def _zone(text: str) -> str:
    try:
        ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        error = SpecError(
            "The time zone is unknown.",
            value=text, limit="a name in the IANA time zone database", remedy='Write "Europe/Lisbon" or "UTC", say.',
        )  # fmt: skip
        raise refusal(error) from None
    return text


def _moment(value: Any) -> datetime:
    moment = read_moment(value, _MOMENT)
    if not within_years(moment):
        error = SpecError(
            "The year is out of range.",
            value=value, limit=f"{FIRST_YEAR} to {LAST_YEAR}", remedy="Check the year.",
        )  # fmt: skip
        raise refusal(error)
    return moment


Clock: TypeAlias = Annotated[str, Field(strict=True, max_length=5), AfterValidator(_clock)]
Zone: TypeAlias = Annotated[str, Field(strict=True, min_length=1, max_length=64), AfterValidator(_zone)]
Moment: TypeAlias = Annotated[datetime, BeforeValidator(_moment)]
_Minutes: TypeAlias = Annotated[Number, Field(ge=0.0, le=1440.0)]


class Window(Noun):
    """Time window that recurs on the same days of every week."""

    days: tuple[Day, ...] = Field(
        default=DAYS, min_length=1, max_length=7, description="Days on which the window begins."
    )
    start: Clock = Field(description="Start as a time of day, such as 07:30.")
    end: Clock = Field(
        description="End as a time of day; if at or before the start, it is on the next day. 24:00 is midnight."
    )


#: The quiet hours of a dwelling (common practice in house rules).
_QUIET: Final = (Window(start="22:00", end="07:00"),)


class LoadedSpool(Noun):
    """Spool that is on a printer."""

    material: Name = Field(default="PLA", description="Name of its material.")
    colour: Colour | None = Field(default=None, description="Its colour as #RRGGBB; as that of the material.")
    left: Annotated[Number, Field(gt=0.0, le=50_000.0)] = Field(description="Grams of filament left on it.")


class SchedulePrinter(Noun):
    """One of several identical printers."""

    name: Name = Field(description="Name of the printer.")
    spools: tuple[LoadedSpool, ...] = Field(
        default=(), max_length=16, description="Spools on this printer, one for each filament; used up before others."
    )
    printing: tuple[Window, ...] | None = Field(
        default=None, max_length=50, description="When it may print; defaults to the schedule's windows."
    )
    attended: tuple[Window, ...] | None = Field(
        default=None, max_length=50, description="When somebody is present; defaults to the schedule's windows."
    )


class Schedule(Noun):
    """Printers, when they may print and when somebody is present. No windows means at any time."""

    start: Moment | None = Field(
        default=None, description="Earliest start of the first run; defaults to the time the job is submitted."
    )
    timezone: Zone = Field(
        default="UTC", description="IANA time zone of the windows, and of a start without an offset."
    )
    printers: tuple[SchedulePrinter, ...] = Field(
        default=(SchedulePrinter(name="printer"),),
        min_length=1,
        max_length=50,
        description="Printers; all of them are identical.",
    )
    printing: tuple[Window, ...] = Field(
        default=(),
        max_length=50,
        description="When printers may print; a run lies within one window or in adjacent ones.",
    )
    attended: tuple[Window, ...] = Field(
        default=(),
        max_length=50,
        description="When somebody is present; a run begins and finishes its first layer in one of these windows.",
    )
    goal: Goal = Field(
        default="finish",
        description="What the schedule is to achieve first. finish: everything is printed as soon as possible. "
        "drawers: each drawer is complete as soon as possible, by priority. visits: as few clock hours as possible in "
        "which a run is started or a bed is cleared. quiet_nights: as few quiet spells as possible with a printer "
        "at work; only runs that do not fit between two of them are printed in one.",
    )
    priority: tuple[Name, ...] = Field(
        default=(),
        max_length=100,
        description="Names of drawers, the one to be complete first in front; others follow in printing order.",
    )
    quiet: tuple[Window, ...] = Field(
        default=_QUIET, min_length=1, max_length=50, description="Quiet hours, for the goal quiet_nights."
    )
    wait_for_coupon: bool = Field(
        default=True,
        strict=True,
        description="Schedule nothing but the coupon until the clearance that it shows is recorded.",
    )
    first_layer_minutes: _Minutes = Field(
        default=15.0, description="Time that somebody watches the start of a run, in minutes."
    )
    cool_down_minutes: _Minutes = Field(
        default=20.0, description="Minutes from the end of a run until its pieces can be removed."
    )
    bed_change_minutes: _Minutes = Field(default=10.0, description="Minutes to remove the pieces and clean the bed.")

    @property
    def zone(self) -> ZoneInfo:
        """Time zone of the windows."""
        return ZoneInfo(self.timezone)

    def beginning(self, now: datetime) -> datetime:
        """Return the earliest start of the first run in the schedule's time zone; ``now`` if it gives none."""
        start = self.start or now
        return start.replace(tzinfo=self.zone) if start.tzinfo is None else start.astimezone(self.zone)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        seen: set[str] = set()
        for index, printer in enumerate(self.printers):
            if printer.name in seen:
                error = SpecError(
                    "Two printers have the same name.",
                    value=printer.name, limit="unique in the schedule", remedy="Rename one of them.",
                )  # fmt: skip
                refusals.add(error, "printers", index, "name")
            seen.add(printer.name)
            filaments = [(spool.material, spool.colour) for spool in printer.spools]
            for place, filament in enumerate(filaments):
                if filament in filaments[:place]:
                    error = SpecError(
                        "Two spools of one filament are on a printer.",
                        value=filament[0], limit="one spool of each filament",
                        remedy="List the other one in the material's `left`.",
                    )  # fmt: skip
                    refusals.add(error, "printers", index, "spools", place, "material")
        refusals.settle()
        return self

"""When printers may print, and when somebody is there."""

import re
from datetime import datetime
from typing import Annotated, Any, Final, Literal, Self, TypeAlias, get_args
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.primitives.model import Noun
from worker.spec.primitives.moment import FIRST_YEAR, LAST_YEAR, read_moment, within_years
from worker.spec.primitives.names import Name, Number
from worker.spec.primitives.pydantic_errors import Refusals, refusal

__all__ = ["DAYS", "Day", "Schedule", "SchedulePrinter", "Window"]

Day: TypeAlias = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
#: Monday is 0, as for `datetime.weekday`.
DAYS: Final[tuple[Day, ...]] = get_args(Day)

_CLOCK: Final = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]|24:00", re.ASCII)
_MOMENT: Final = "a date and time as in 2026-03-01T18:00 or 2026-03-01T18:00+01:00 (RFC 3339)"


def _clock(text: str) -> str:
    if not _CLOCK.fullmatch(text):
        raise refusal(SpecError("This is no time of day.", value=text, limit="00:00 to 24:00", remedy='As in "07:30".'))
    return text


def _zone(text: str) -> str:
    try:
        ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        error = SpecError(
            "There is no such time zone.",
            value=text, limit="a name of the IANA time zone database", remedy='As in "Europe/Lisbon" or "UTC".',
        )  # fmt: skip
        raise refusal(error) from None
    return text


def _moment(value: Any) -> datetime:
    moment = read_moment(value, _MOMENT)
    if not within_years(moment):
        raise refusal(SpecError("This is no time to print.", value=value, limit=f"{FIRST_YEAR} to {LAST_YEAR}"))
    return moment


Clock: TypeAlias = Annotated[str, Field(strict=True, max_length=5), AfterValidator(_clock)]
Zone: TypeAlias = Annotated[str, Field(strict=True, min_length=1, max_length=64), AfterValidator(_zone)]
Moment: TypeAlias = Annotated[datetime, BeforeValidator(_moment)]
_Minutes: TypeAlias = Annotated[Number, Field(ge=0.0, le=1440.0)]


class Window(Noun):
    """A stretch of the day that comes again on the same days of every week."""

    days: tuple[Day, ...] = Field(default=DAYS, min_length=1, max_length=7, description="The days on which it begins.")
    start: Clock = Field(description="Time of day, as in 07:30.")
    end: Clock = Field(description="Time of day; at or before the start it is the next day's. 24:00 is midnight.")


class SchedulePrinter(Noun):
    """One printer of several equal ones."""

    name: Name = Field(description="What the printer is called.")
    printing: tuple[Window, ...] | None = Field(
        default=None, max_length=50, description="When it may print; left out, as for all."
    )
    attended: tuple[Window, ...] | None = Field(
        default=None, max_length=50, description="When somebody is there; left out, as for all."
    )


class Schedule(Noun):
    """Printers, the hours in which they may print, and those in which somebody is there; no windows: all hours."""

    start: Moment | None = Field(
        default=None, description="When the first run may begin; left out, when the job is submitted."
    )
    timezone: Zone = Field(default="UTC", description="IANA time zone of the windows, and of a start without one.")
    printers: tuple[SchedulePrinter, ...] = Field(
        default=(SchedulePrinter(name="printer"),), min_length=1, max_length=50, description="Printers, all alike."
    )
    printing: tuple[Window, ...] = Field(
        default=(), max_length=50, description="A run lies within one of these, or in some that follow without a gap."
    )
    attended: tuple[Window, ...] = Field(
        default=(), max_length=50, description="A run begins in one of these, and its first layer ends there."
    )
    first_layer_minutes: _Minutes = Field(default=15.0, description="How long somebody watches a run begin.")
    cool_down_minutes: _Minutes = Field(default=20.0, description="From a run's end until its pieces can be taken off.")
    bed_change_minutes: _Minutes = Field(default=10.0, description="To take the pieces off and clean the bed.")

    @property
    def zone(self) -> ZoneInfo:
        """The time zone."""
        return ZoneInfo(self.timezone)

    def beginning(self, now: datetime) -> datetime:
        """Return when the first run may begin, in this schedule's time zone; ``now`` where none is said."""
        start = self.start or now
        return start.replace(tzinfo=self.zone) if start.tzinfo is None else start.astimezone(self.zone)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        seen: set[str] = set()
        for index, printer in enumerate(self.printers):
            if printer.name in seen:
                error = SpecError("Two printers have the same name.", value=printer.name, remedy="Give each its own.")
                refusals.add(error, "printers", index, "name")
            seen.add(printer.name)
        refusals.settle()
        return self

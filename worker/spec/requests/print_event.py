"""Prints: what a caller says of pieces that were printed, that failed, or that stand in the drawer."""

import re
from datetime import datetime
from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.manifest import Mark
from worker.spec.primitives.model import Noun
from worker.spec.primitives.moment import read_moment, within_years
from worker.spec.primitives.names import Count, Note
from worker.spec.primitives.pydantic_errors import Refusals, refusal

__all__ = ["EVENT_ID", "MOST_PIECES", "EventId", "Outcome", "PrintEvent"]

Outcome: TypeAlias = Literal["printed", "failed", "placed"]

#: Identities that a caller may give an event.
EVENT_ID: Final = r"^[A-Za-z0-9._-]{1,64}$"

#: Most pieces of one event.
MOST_PIECES: Final = 100_000

_MOST_MARKS: Final = 500
_MARK: Final = re.compile(r"[A-Z][0-9]{1,5}", re.ASCII)
_MOMENT: Final = "a date and time with its offset, as in 2026-03-01T18:00:00+01:00 (RFC 3339)"


def _moment(value: Any) -> datetime:
    moment = read_moment(value, _MOMENT)
    if moment.tzinfo is None or not within_years(moment):
        raise refusal(SpecError("This is no date and time.", value=value, limit=_MOMENT))
    return moment


def _mark(value: str) -> str:
    if not _MARK.fullmatch(value):
        raise refusal(SpecError("This is no mark.", value=value, limit='a mark of the manifest, as "T4"'))
    return value


EventId: TypeAlias = Annotated[str, Field(strict=True, pattern=EVENT_ID)]
_Pieces: TypeAlias = Annotated[Count, Field(ge=1, le=MOST_PIECES)]


class PrintEvent(Noun):
    """Pieces that were printed, failed or were put into the drawer: all of a run, or some of a mark."""

    outcome: Outcome = Field(
        description="printed: they are good. failed: they have to be printed (again). placed: they are good and in the "
        "drawer."
    )
    run: Annotated[Count, Field(ge=1, le=MOST_PIECES)] | None = Field(
        default=None, description="The run, by its number; either this or a mark."
    )
    mark: Annotated[str, Field(strict=True), AfterValidator(_mark)] | None = Field(
        default=None, description="The mark of pieces that were printed one by one."
    )
    count: _Pieces = Field(default=1, description="How many pieces of the mark.")
    failed: dict[Mark, _Pieces] = Field(
        default={}, max_length=_MOST_MARKS, description="Pieces of the run that failed, by mark; the others are good."
    )
    note: Note | None = Field(default=None, description="For people.")
    at: Annotated[datetime, BeforeValidator(_moment)] | None = Field(
        default=None, description="When it was, with its offset (RFC 3339); left out, now."
    )
    id: EventId | None = Field(
        default=None, description="The caller's own name for the event: sent twice, it counts once."
    )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        given = self.model_fields_set
        if (self.run is None) == (self.mark is None):
            limit = "run or mark, and not both"
            error = SpecError("An event is about one run or one mark.", limit=limit, remedy='As in {"run": 3}.')
            refusals.add(error, "run" if self.mark is None else "mark")
        elif self.run is not None and "count" in given:
            error = SpecError("A run has its own count of pieces.", value=self.count, remedy="Leave it out.")
            refusals.add(error, "count")
        elif self.failed and (self.run is None or self.outcome == "failed"):
            remedy = 'Give "outcome": "printed" and the run, or an event for the mark.'
            error = SpecError("Only a run that was printed can have failed pieces.", remedy=remedy)
            refusals.add(error, "failed")
        refusals.settle()
        return self

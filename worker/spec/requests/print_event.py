"""Print events: reports of pieces that were printed, failed, or were put in the drawer, and their withdrawal."""

import re
from collections.abc import Iterable
from typing import Annotated, Final, Literal, Self, TypeAlias

from pydantic import AfterValidator, Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.manifest import Mark
from worker.spec.primitives.length import Clearance
from worker.spec.primitives.model import Noun
from worker.spec.primitives.moment import Instant
from worker.spec.primitives.names import Count, Name, Note, Number
from worker.spec.primitives.pydantic_errors import Refusals, refusal

__all__ = ["EVENT_ID", "MOST_PIECES", "EventId", "Outcome", "PrintEvent"]

Outcome: TypeAlias = Literal["printed", "failed", "placed", "measured", "withdrawn"]

#: Pattern of event ids.
EVENT_ID: Final = r"^[A-Za-z0-9._-]{1,64}$"

#: Most pieces in one event.
MOST_PIECES: Final = 100_000

#: Highest number of an event.
MOST_EVENTS: Final = 1_000_000_000

_MOST_MARKS: Final = 500
_MARK: Final = re.compile(r"[A-Z][0-9]{1,5}", re.ASCII)


def _mark(value: str) -> str:
    if not _MARK.fullmatch(value):
        error = SpecError(
            "The value is not a mark.",
            value=value, limit='a mark of the manifest, such as "T4"', remedy="Copy the mark from the manifest.",
        )  # fmt: skip
        raise refusal(error)
    return value


EventId: TypeAlias = Annotated[str, Field(strict=True, pattern=EVENT_ID)]
_Pieces: TypeAlias = Annotated[Count, Field(ge=1, le=MOST_PIECES)]


class PrintEvent(Noun):
    """Report that pieces were printed, failed or were put in the drawer: all of a run, or some of a mark."""

    outcome: Outcome = Field(
        description="printed: the pieces are good. failed: they have to be printed again. placed: they are good and in "
        "the drawer. measured: the coupon was tried; give the clearance, and the printer where unlike ones have a "
        "coupon each. withdrawn: an earlier event was a mistake; give its number alone."
    )
    run: Annotated[Count, Field(ge=1, le=MOST_PIECES)] | None = Field(
        default=None, description="Number of the run; give either a run or a mark."
    )
    mark: Annotated[str, Field(strict=True), AfterValidator(_mark)] | None = Field(
        default=None, description="Mark of pieces that were printed one by one."
    )
    count: _Pieces = Field(default=1, description="Number of pieces of the mark.")
    failed: dict[Mark, _Pieces] = Field(
        default={},
        max_length=_MOST_MARKS,
        description="Number of failed pieces of the run, by mark; all others are good.",
    )
    clearance: Clearance | None = Field(
        default=None,
        description="Clearance that the coupon shows: the label of the socket in which the plug fits best. Parts still "
        "to print wait until it is recorded.",
    )
    printer: Name | None = Field(
        default=None, description="Name of the printer that printed the run, or whose coupon was measured."
    )
    seconds: Annotated[Number, Field(ge=1.0, le=1e7)] | None = Field(
        default=None, description="Measured print time of a run that was printed to its end, in seconds."
    )
    event: Annotated[Count, Field(ge=1, le=MOST_EVENTS)] | None = Field(
        default=None, description="Number of the event that is withdrawn; its effects are taken back."
    )
    note: Note | None = Field(default=None, description="Note for people.")
    at: Instant | None = Field(
        default=None, description="Time of the event with its UTC offset (RFC 3339); defaults to now."
    )
    id: EventId | None = Field(
        default=None, description="Id chosen by the caller; an event sent twice with the same id counts once."
    )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        given = self.model_fields_set
        if self.event is not None and self.outcome != "withdrawn":
            error = SpecError(
                "Only a withdrawal names another event.",
                value=self.event, limit='event only with "outcome": "withdrawn"', remedy="Remove it.",
            )  # fmt: skip
            refusals.add(error, "event")
        if self.outcome == "withdrawn":
            self._check_withdrawn(refusals)
        elif self.outcome == "measured":
            self._check_measured(refusals)
        elif (self.run is None) == (self.mark is None):
            limit = "run or mark, not both"
            error = SpecError(
                "An event needs either a run or a mark.",
                value=self.run, limit=limit, remedy='Write {"run": 3, ...}, for example.',
            )  # fmt: skip
            refusals.add(error, "run" if self.mark is None else "mark")
        elif self.run is not None and "count" in given:
            error = SpecError(
                "A count is given beside a run.",
                value=self.count, limit="count only with a mark", remedy="Remove it; the run has its own count.",
            )  # fmt: skip
            refusals.add(error, "count")
        elif self.failed and (self.run is None or self.outcome == "failed"):
            remedy = 'Use "outcome": "printed" with the run, or report the mark in an event of its own.'
            error = SpecError(
                "Only a printed run can have failed pieces.",
                value=sorted(self.failed), limit='failed only with a run and "outcome": "printed"', remedy=remedy,
            )  # fmt: skip
            refusals.add(error, "failed")
        if self.outcome not in ("measured", "withdrawn"):
            self._check_details(refusals)
        refusals.settle()
        return self

    def _check_withdrawn(self, refusals: Refusals) -> None:
        """Check that a withdrawal names an event and nothing else."""
        if self.event is None:
            error = SpecError(
                "A withdrawal needs the number of the event.",
                value=None, limit="an event", remedy='Write {"outcome": "withdrawn", "event": 4}, for example.',
            )  # fmt: skip
            refusals.add(error, "event")
        others = sorted(self.model_fields_set - {"outcome", "event", "note", "at", "id"})
        self._refuse(refusals, others, "A withdrawal is no print.", "Remove it.")

    def _check_measured(self, refusals: Refusals) -> None:
        """Check that a reading of the coupon is nothing else."""
        if self.clearance is None:
            error = SpecError(
                "A measured coupon needs its clearance.",
                value=None, limit="a clearance", remedy='Write {"outcome": "measured", "clearance": 0.25}, say.',
            )  # fmt: skip
            refusals.add(error, "clearance")
        others = ("run", "mark", "failed", "seconds")
        self._refuse(refusals, others, "A measured coupon is no print.", "Record the print by itself.")

    def _refuse(self, refusals: Refusals, names: Iterable[str], message: str, remedy: str) -> None:
        """Refuse the fields with these names that have a value."""
        for name in names:
            if value := getattr(self, name):
                limit = f"none with {self.outcome}"
                refusals.add(SpecError(message, value=value, limit=limit, remedy=remedy), name)

    def _check_details(self, refusals: Refusals) -> None:
        """Check that clearance, printer and time belong to what was printed."""
        if self.clearance is not None and self.outcome == "failed":
            error = SpecError(
                "A failed print shows no clearance.",
                value=self.clearance, limit="none with failed", remedy="Print the coupon again.",
            )  # fmt: skip
            refusals.add(error, "clearance")
        for name in ("printer", "seconds"):
            if getattr(self, name) is not None and self.run is None:
                error = SpecError(
                    "Printer and print time belong to a whole run.",
                    value=getattr(self, name), limit="only with a run", remedy="Give the run, or leave this out.",
                )  # fmt: skip
                refusals.add(error, name)
        if self.seconds is not None and self.outcome == "failed":
            error = SpecError(
                "A failed run has no print time to compare.",
                value=self.seconds, limit="none with failed", remedy="Leave it out.",
            )  # fmt: skip
            refusals.add(error, "seconds")

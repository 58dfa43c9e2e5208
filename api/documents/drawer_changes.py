"""The answer to changes of a drawer: what stays, moves, is reused, printed and retired, with hours and grams."""

from typing import Final

from fastapi import Request
from pydantic import BaseModel, ConfigDict, Field
from pydantic.config import JsonDict

from api.documents.household import PieceDocument, piece_document
from api.documents.jobs import JobDocument
from worker.jobs.household.drawer_changes import DrawerChanges
from worker.spec.manifest import MoveEntry, PiecesEntry, PlanDocument, RunEntry, UnplacedEntry, WarningEntry

__all__ = ["ChangesDocument", "changes_document"]

_DRAWER: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"
_EXAMPLE: Final[JsonDict] = {
    "drawer": _DRAWER,
    "stay": [{"mark": "F1", "kind": "tile", "name": "floor", "count": 4}],
    "move": [
        {
            "mark": "T2",
            "kind": "tray",
            "name": "clips",
            "count": 1,
            "before": {"drawer": "top drawer", "at": [10.0, 10.0, 6.2], "turn": 0, "cell": [0.0, 0.0]},
            "now": {"drawer": "top drawer", "at": [52.0, 10.0, 6.2], "turn": 0, "cell": [1.0, 0.0]},
        }
    ],
    "reuse": [],
    "print": [{"mark": "T5", "kind": "tray", "name": "calliper", "count": 1}],
    "retire": [{"mark": "T3", "kind": "tray", "name": "pins", "count": 1}],
    "runs": [],
    "hours": 2.4,
    "grams": 41.2,
    "unplaced": [],
    "warnings": [],
    "job": None,
}


class ReusedDocument(BaseModel):
    """Spare or retired pieces that take places in the drawer."""

    model_config = ConfigDict(frozen=True)

    mark: str = Field(description="The mark of their places in the new layout; the engraved one may be another.")
    name: str = Field(description="The name of the part.")
    count: int = Field(ge=1, description="The number of pieces.")
    pieces: tuple[PieceDocument, ...] = Field(description="The pieces to use.")


class ChangesDocument(BaseModel):
    """What becomes of a drawer's pieces when its things change."""

    model_config = ConfigDict(frozen=True, json_schema_extra={"examples": [_EXAMPLE]}, serialize_by_alias=True)

    drawer: str = Field(description="The drawer's identifier.")
    stay: tuple[PiecesEntry, ...] = Field(description="Pieces that stay where they are.")
    move: tuple[MoveEntry, ...] = Field(description="Pieces that move to another place of the drawer.")
    reuse: tuple[ReusedDocument, ...] = Field(description="Spare and retired pieces of the household to use.")
    to_print: tuple[PiecesEntry, ...] = Field(alias="print", description="Pieces to print.")
    retire: tuple[PiecesEntry, ...] = Field(description="Pieces to take out.")
    runs: tuple[RunEntry, ...] = Field(description="The print runs, with times and filament.")
    hours: float = Field(ge=0.0, description="Print time of all runs, in hours.")
    grams: float = Field(ge=0.0, description="Filament of all runs.")
    unplaced: tuple[UnplacedEntry, ...] = Field(description="Things that find no place.")
    warnings: tuple[WarningEntry, ...] = Field(description="Problems that do not stop the job.")
    job: JobDocument | None = Field(description="The job that was submitted; null without apply.")


def changes_document(
    request: Request, drawer_id: str, changes: DrawerChanges, plan: PlanDocument, job: JobDocument | None
) -> ChangesDocument:
    """Return the document of a drawer's changes; ``plan`` is timed."""
    reuse = tuple(
        ReusedDocument(
            mark=reused.entry.mark,
            name=reused.entry.name,
            count=reused.entry.count,
            pieces=tuple(piece_document(request, piece) for piece in reused.pieces),
        )
        for reused in changes.reuse
    )
    return ChangesDocument(
        drawer=drawer_id,
        stay=changes.stay,
        move=changes.move,
        reuse=reuse,
        print=changes.new,
        retire=changes.retire,
        runs=plan.runs,
        hours=round(sum(run.seconds or 0.0 for run in plan.runs) / 3600.0, 2),
        grams=round(sum(run.grams or 0.0 for run in plan.runs), 1),
        unplaced=plan.unplaced,
        warnings=plan.warnings,
        job=job,
    )

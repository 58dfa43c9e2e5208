"""Examples of answers, by the model of the answer: made of the models, so that each is what its schema says."""

from datetime import UTC, datetime
from typing import Any, Final

from pydantic import BaseModel

from api.documents.jobs import JobDocument, JobLinks, JobPage, JobProgress
from api.http.problems import PROBLEM_TYPE, Fault, Problem
from api.routes.batches import BatchCounts, BatchDocument, BatchEntryDocument, BatchLinks
from api.routes.catalogue import CatalogueDocument, catalogue_document
from api.routes.health import Health, Readiness
from api.routes.problems import ProblemKind
from api.routes.schedules import ScheduleLinkDocument
from api.routes.webhooks import NewWebhookDocument, WebhookDocument, WebhookList
from worker.spec.manifest import (
    CautionEntry,
    Cells,
    Check,
    DrawerEntry,
    EstimateEntry,
    FileEntry,
    Generator,
    Manifest,
    PartEntry,
    PlacementEntry,
    PlanDocument,
    PlannedPart,
    PurchaseEntry,
    RunEntry,
    RunPiece,
    WorkEntry,
)
from worker.spec.requests.batch import BatchBeds, BatchDrawer, BatchManifest, BatchPiece, BatchRun

__all__ = ["ANSWER_EXAMPLES", "add_answer_examples"]

_HOME: Final = "http://127.0.0.1:8765"
_ID: Final = "01k9x5m8w2q4r6t8v0y2a4c6e8"
_AT: Final = datetime(2026, 3, 7, 18, 42, tzinfo=UTC)
_DIGEST: Final = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"

_JOB: Final = JobDocument(
    id=_ID, name="hall table", state="running", created=_AT, started=_AT, finished=None, attempts=1,
    progress=JobProgress(done=3, total=9, now="tray T2"), problem=None,
    links=JobLinks(self=f"{_HOME}/v1/jobs/{_ID}", manifest=None, bundle=None, files=None),
)  # fmt: skip
_BATCH: Final = BatchDocument(
    id=_ID, name="kitchen", state="running", created=_AT, finished=None, counts=BatchCounts(refused=1, running=1),
    entries=(
        BatchEntryDocument(index=0, name="hall table", state="running", job=f"{_HOME}/v1/jobs/{_ID}", problem=None),
        BatchEntryDocument(
            index=1, name=None, state="refused", job=None,
            problem=Problem(
                type=f"{_HOME}/problems/invalid-spec", title="The spec is not valid.", status=422,
                detail="The field is required.", pointer="/drawers", limit="required",
            ),
        ),
    ),
    problem=None,
    links=BatchLinks(self=f"{_HOME}/v1/batches/{_ID}", manifest=None, files=None),
)  # fmt: skip
_DRAWER: Final = DrawerEntry(
    name="keys and coins", copies=1, size=(136.0, 136.0, 45.0),
    outline=(((0.0, 0.0), (136.0, 0.0), (136.0, 136.0), (0.0, 136.0)),),
    origin=(5.0, 5.0), pitch=42.0, cells=Cells(whole=9, half=0, across=(3, 3)), leftover=(10.0, 10.0), free=24,
    placements=(
        PlacementEntry(mark="F1", at=(5.0, 5.0, 0.0), turn=0),
        PlacementEntry(mark="T1", at=(5.3, 5.3, 0.0), turn=0, cell=(0.0, 0.0), name="keys"),
    ),
)  # fmt: skip
_PLANNED: Final = PlannedPart(mark="T1", kind="tray", name="keys", quantity=1, size=(41.4, 125.4, 30.0), shape=_DIGEST)
_RUN: Final = RunEntry(
    number=1, material="PLA", colour=None, layer=0.2, line_width=0.44,
    pieces=(RunPiece(mark="T1", at=(5.0, 5.0), turn=0, drawer="keys and coins"),),
)  # fmt: skip
_PRICED: Final = {"seconds": 5400.0, "grams": 31.5, "metres": 10.56, "cost": 0.79, "file": "run-01.3mf"}
_WORK: Final = WorkEntry(pieces=1, runs=1, least_runs=1)
_TOTAL: Final = _WORK.model_copy(update={"grams": 31.5, "metres": 10.56, "cost": 0.79, "seconds": 5400.0})
_CAUTION: Final = CautionEntry(topic="heat", text="Keep the parts away from heaters and cars in the sun.")
_BOUGHT: Final = PurchaseEntry(material="PLA", colour=None, grams=31.5, left=400.0, spools=0, cost=0.0)
_MADE_BY: Final = Generator(version="0.1.0", kernel="manifold3d 3.5.4, build 1")
_MANIFEST: Final = Manifest(
    generator=_MADE_BY, name="hall table", spec_digest=_DIGEST, drawers=(_DRAWER,),
    parts=(
        PartEntry(
            **_PLANNED.model_dump(), triangles=1284, volume=25400.0, area=36200.0, digest=_DIGEST,
            estimate=EstimateEntry(
                material="PLA", colour=None, layer=0.2, line_width=0.44, grams=31.5, metres=10.56, cost=0.79,
                seconds=5400.0, laying_seconds=5040.0, layers=150,
            ),
            checks=(Check(name="closed", passed=True, value=0, limit="0 open edges"),),
            files=(FileEntry(name="T1-tray.stl", media_type="model/stl", bytes=64284, sha256=_DIGEST),),
        ),
    ),
    assembly=(Check(name="overlap", passed=True, value=0.0, limit="at most 0.01 mm3"),),
    warnings=(), cautions=(_CAUTION,), numbering={"F": 1, "T": 1}, runs=(_RUN.model_copy(update=_PRICED),),
    work=_TOTAL, purchases=(_BOUGHT,),
)  # fmt: skip
_PIECE: Final = BatchPiece(entry=0, mark="T1", at=(5.0, 5.0), turn=0, drawer="keys and coins")
_BATCH_MANIFEST: Final = BatchManifest(
    generator=_MADE_BY, name="kitchen",
    entries=(
        BatchDrawer(
            entry=0, name="hall table", state="succeeded", job=_ID, drawers=("keys and coins",), parts=1, problem=None
        ),
    ),
    runs=(BatchRun(**{**_RUN.model_dump(), **_PRICED, "pieces": (_PIECE,)}),),
    beds=(BatchBeds(bed=(160.0, 160.0, 160.0), entries=(0,), runs=(1,), work=_TOTAL),),
    pieces=1, grams=31.5, seconds=5400.0, purchases=(_BOUGHT,), cautions=(_CAUTION,),
)  # fmt: skip
_WEBHOOK: Final = {
    "id": _ID, "url": "https://home.example/drawers", "events": ["job.succeeded", "job.failed"], "jobs": "all",
    "created": _AT, "state": "active", "delivered": 12, "waiting": 0, "dropped": 0, "last_success": _AT,
    "last_failure": None, "problem": None, "self": f"{_HOME}/v1/webhooks/{_ID}",
}  # fmt: skip
_THINGS: Final = catalogue_document().things[:2]

_ANSWERS: Final[tuple[BaseModel, ...]] = (
    _JOB,
    JobPage(jobs=(_JOB,), next=f"{_HOME}/v1/jobs?limit=1&after={_ID}"),
    _BATCH,
    PlanDocument(
        name="hall table", drawers=(_DRAWER,), parts=(_PLANNED,), warnings=(), cautions=(_CAUTION,), runs=(_RUN,),
        numbering={"F": 1, "T": 1}, work=_WORK,
    ),
    _MANIFEST,
    _BATCH_MANIFEST,
    CatalogueDocument(things=_THINGS),
    _THINGS[0],
    WebhookList(webhooks=(WebhookDocument.model_validate(_WEBHOOK),)),
    WebhookDocument.model_validate(_WEBHOOK),
    NewWebhookDocument.model_validate({**_WEBHOOK, "secret": "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"}),
    ScheduleLinkDocument(
        url=f"{_HOME}/v1/jobs/{_ID}/schedule.ics?token=nVd3hJm0Zr8sQw5yBt1kXc7uLe2gPf9aRi4oTj6vYbM"
    ),
    Health(),
    Readiness(status="degraded", away=("worker",)),
    ProblemKind(type=f"{_HOME}/problems/job-not-found", title="There is no such job.", status=404),
    Problem(
        type=f"{_HOME}/problems/invalid-spec", title="The spec is not valid.", status=422,
        detail="The spec has 2 problems.", instance="/v1/jobs",
        errors=(
            Fault(detail="The field is required.", pointer="/drawers/0/width", limit="required"),
            Fault(detail="This must be a number.", pointer="/drawers/0/height", value="x", limit="a length"),
        ),
    ),
)  # fmt: skip

#: By the name of the model.
ANSWER_EXAMPLES: Final[dict[str, Any]] = {
    type(one).__name__: {"summary": (type(one).__doc__ or "").splitlines()[0], "value": one.model_dump(mode="json")}
    for one in _ANSWERS
}


def add_answer_examples(paths: dict[str, Any]) -> None:
    """Refer to the example of its model in each answer that has none of its own."""
    for operations in paths.values():
        for operation in operations.values():
            for answer in operation["responses"].values():
                if "content" in answer:
                    answer["content"] = {kind: _shown(kind, told) for kind, told in answer["content"].items()}


def _shown(kind: str, told: dict[str, Any]) -> dict[str, Any]:
    name = str(told.get("schema", {}).get("$ref", "")).rpartition("/")[2]
    if kind not in ("application/json", PROBLEM_TYPE) or name not in ANSWER_EXAMPLES:
        return told
    return {"examples": {name: {"$ref": f"#/components/examples/{name}"}}, **told}

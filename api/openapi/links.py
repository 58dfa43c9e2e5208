"""Links: where an answer leads, as OpenAPI says it, so that a client made from the document can follow a job."""

from typing import Any, Final

__all__ = ["add_links"]

_JOB: Final = {"job_id": "$response.body#/id"}
_SAME_JOB: Final = {"job_id": "$request.path.job_id"}
_FIRST_JOB: Final = {"job_id": "$response.body#/jobs/0/id"}
_BATCH: Final = {"batch_id": "$response.body#/id"}
_SAME_BATCH: Final = {"batch_id": "$request.path.batch_id"}
_WEBHOOK: Final = {"webhook_id": "$response.body#/id"}
_FIRST_WEBHOOK: Final = {"webhook_id": "$response.body#/webhooks/0/id"}

#: What there is to ask of a job that succeeded.
_MADE: Final = ("getManifest", "getBundle", "getPrints", "recordPrint", "getRuns", "getSchedule", "createScheduleLink")

_Led = tuple[str, dict[str, str], str]


def _made(parameters: dict[str, str]) -> tuple[_Led, ...]:
    return tuple((name, parameters, "Once the job has succeeded.") for name in _MADE)


_RUN: Final[_Led] = ("getRun", {**_SAME_JOB, "number": "$response.body#/runs/0/number"}, "The next run's file.")
_RECORDED: Final[tuple[_Led, ...]] = (
    ("getPrints", _SAME_JOB, "Where each mark stands now."),
    ("getRuns", _SAME_JOB, "The runs that remain."),
    ("getSchedule", _SAME_JOB, "Their dates."),
)
_TOLD: Final[_Led] = ("getWebhook", _WEBHOOK, "How it does.")
_ROTATED: Final[_Led] = ("rotateWebhookSecret", _WEBHOOK, "When its secret got about.")
_UNWANTED: Final[_Led] = ("removeWebhook", _WEBHOOK, "When it is not wanted any more.")
_CANCELLED: Final[_Led] = ("cancelJob", _JOB, "Until it has ended.")
_REMOVED: Final[_Led] = ("removeJob", _JOB, "Once it has ended.")
_BATCH_CANCELLED: Final[_Led] = ("cancelBatch", _BATCH, "Until its jobs have ended.")
_BATCH_MADE: Final[tuple[_Led, ...]] = (
    ("getBatchManifest", _BATCH, "Once it has ended."),
    ("removeBatch", _BATCH, "Once it has ended."),
)

#: By operation and status: the operation that follows, its parameters, and when or why.
_LINKS: Final[dict[tuple[str, str], tuple[_Led, ...]]] = {
    ("submitJob", "201"): (("getJob", _JOB, "How it ended."), _REMOVED, *_made(_JOB)),
    ("submitJob", "202"): (("getJob", _JOB, "How far it is."), _CANCELLED, _REMOVED, *_made(_JOB)),
    ("listJobs", "200"): (
        ("getJob", _FIRST_JOB, "The newest."),
        ("listJobs", {"after": "$response.body#/jobs/0/id"}, "All older ones."),
    ),
    ("getJob", "200"): (_CANCELLED, _REMOVED, *_made(_JOB)),
    ("cancelJob", "200"): (("removeJob", _JOB, "As soon as it has ended."),),
    ("getManifest", "200"): (
        ("getFile", {**_SAME_JOB, "name": "$response.body#/parts/0/files/0/name"}, "Any file by its name."),
        ("getRun", {**_SAME_JOB, "number": "$response.body#/runs/0/number"}, "Any run by its number."),
    ),
    ("recordPrint", "201"): _RECORDED,
    ("recordPrint", "200"): _RECORDED,
    ("createScheduleLink", "201"): (
        ("withdrawScheduleLink", _SAME_JOB, "When it is not wanted any more, or got about."),
    ),
    ("getRuns", "200"): (_RUN,),
    ("submitBatch", "202"): (("getBatch", _BATCH, "How far it is."), _BATCH_CANCELLED, *_BATCH_MADE),
    ("getBatch", "200"): (_BATCH_CANCELLED, *_BATCH_MADE),
    ("cancelBatch", "200"): (("getBatch", _BATCH, "What ended before."), *_BATCH_MADE),
    ("getBatchManifest", "200"): (
        ("getBatchFile", {**_SAME_BATCH, "name": "$response.body#/runs/0/file"}, "Any run's file by its name."),
        ("getJob", {"job_id": "$response.body#/entries/0/job"}, "Any job by its id; refused specs have none."),
    ),
    ("createWebhook", "201"): (_TOLD, _ROTATED, _UNWANTED),
    ("listWebhooks", "200"): (("getWebhook", _FIRST_WEBHOOK, "The oldest."),),
    ("getWebhook", "200"): (_ROTATED, _UNWANTED),
    ("rotateWebhookSecret", "200"): (_TOLD, _UNWANTED),
    ("listCatalogue", "200"): (("getCatalogueEntry", {"thing_id": "$response.body#/things/0/id"}, "Each by its id."),),
}


def add_links(paths: dict[str, Any]) -> None:
    """Add the links to the answers of a document's operations."""
    known = {operation["operationId"]: operation for path in paths.values() for operation in path.values()}
    for (name, status), links in _LINKS.items():
        known[name]["responses"][status]["links"] = {
            to: {"operationId": known[to]["operationId"], "parameters": parameters, "description": why}
            for to, parameters, why in links
        }

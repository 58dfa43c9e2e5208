"""Links: where an answer leads, as OpenAPI says it, so that a client made from the document can follow a job."""

from typing import Any, Final

__all__ = ["add_links"]

_JOB: Final = {"job_id": "$response.body#/id"}
_SAME_JOB: Final = {"job_id": "$request.path.job_id"}
_FIRST_JOB: Final = {"job_id": "$response.body#/jobs/0/id"}
_WEBHOOK: Final = {"webhook_id": "$response.body#/id"}

#: What there is to ask of a job that succeeded.
_MADE: Final = ("getManifest", "getBundle", "getPrints", "recordPrint", "getRuns", "getSchedule")

_Led = tuple[str, dict[str, str], str]


def _made(parameters: dict[str, str]) -> tuple[_Led, ...]:
    return tuple((name, parameters, "Once the job has succeeded.") for name in _MADE)


#: By operation and status: the operation that follows, its parameters, and when or why.
_LINKS: Final[dict[tuple[str, str], tuple[_Led, ...]]] = {
    ("submitJob", "202"): (
        ("getJob", _JOB, "How far it is."),
        ("cancelJob", _JOB, "Until it has ended."),
        ("removeJob", _JOB, "Once it has ended."),
        *_made(_JOB),
    ),
    ("listJobs", "200"): (
        ("getJob", _FIRST_JOB, "The newest."),
        ("listJobs", {"after": "$response.body#/jobs/0/id"}, "All older ones."),
    ),
    ("getJob", "200"): (("cancelJob", _JOB, "Until it has ended."), *_made(_JOB)),
    ("cancelJob", "200"): (("removeJob", _JOB, "As soon as it has ended."),),
    ("getManifest", "200"): (
        ("getFile", {**_SAME_JOB, "name": "$response.body#/parts/0/files/0/name"}, "Any file by its name."),
        ("getRun", {**_SAME_JOB, "number": "$response.body#/runs/0/number"}, "Any run by its number."),
    ),
    ("recordPrint", "201"): (
        ("getPrints", _SAME_JOB, "Where each mark stands now."),
        ("getRuns", _SAME_JOB, "The runs that remain."),
        ("getSchedule", _SAME_JOB, "Their dates."),
    ),
    ("getRuns", "200"): (("getRun", {**_SAME_JOB, "number": "$response.body#/runs/0/number"}, "The next run's file."),),
    ("createWebhook", "201"): tuple(
        (name, _WEBHOOK, why)
        for name, why in (
            ("getWebhook", "How it does."),
            ("rotateWebhookSecret", "When its secret got about."),
            ("removeWebhook", "When it is not wanted any more."),
        )
    ),
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

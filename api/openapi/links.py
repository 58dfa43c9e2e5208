"""OpenAPI links: which operations follow from a response, for clients that are generated from the document."""

from typing import Any, Final

__all__ = ["add_links"]

_JOB: Final = {"job_id": "$response.body#/id"}
_SAME_JOB: Final = {"job_id": "$request.path.job_id"}
_FIRST_JOB: Final = {"job_id": "$response.body#/jobs/0/id"}
_BATCH: Final = {"batch_id": "$response.body#/id"}
_SAME_BATCH: Final = {"batch_id": "$request.path.batch_id"}
_WEBHOOK: Final = {"webhook_id": "$response.body#/id"}
_FIRST_WEBHOOK: Final = {"webhook_id": "$response.body#/webhooks/0/id"}

#: The operations on a job that has succeeded.
_RESULTS: Final = (
    "getManifest",
    "getBundle",
    "getPrints",
    "getRefit",
    "recordPrint",
    "getRuns",
    "getSchedule",
    "createScheduleLink",
)

_Link = tuple[str, dict[str, str], str]


def _results(parameters: dict[str, str]) -> tuple[_Link, ...]:
    return tuple((name, parameters, "Once the job has succeeded.") for name in _RESULTS)


def _kept(name: str, noun: str, *more: tuple[str, str]) -> dict[tuple[str, str], tuple[_Link, ...]]:
    """Return the links of a resource of the household, and these further ones."""
    key = f"{noun}_id"
    by_id, same = {key: "$response.body#/id"}, {key: f"$request.path.{key}"}
    follow_ups = ((f"replace{name}", "When it has changed."), (f"remove{name}", "When it is no longer there."))
    made = (f"get{name}", by_id, "Get it again.")
    links = tuple((to, by_id, why) for to, why in (*follow_ups, *more))
    first = {key: f"$response.body#/{noun}s/0/id"}
    return {
        (f"create{name}", "201"): (made, *links),
        (f"list{name}s", "200"): ((f"get{name}", first, "Get the newest one."),),
        (f"get{name}", "200"): links,
        (f"replace{name}", "200"): ((f"get{name}", same, "Get it again."),),
    }


_RUN: Final[_Link] = (
    "getRun",
    {**_SAME_JOB, "number": "$response.body#/runs/0/number"},
    "Download the next run's file.",
)
_RECORDED: Final[tuple[_Link, ...]] = (
    ("getPrints", _SAME_JOB, "Get the progress of each mark."),
    ("getRefit", _SAME_JOB, "Get the spec with the clearance that the coupon showed."),
    ("getRuns", _SAME_JOB, "List the remaining runs."),
    ("getSchedule", _SAME_JOB, "Get their dates."),
)
_WEBHOOK_STATE: Final[_Link] = ("getWebhook", _WEBHOOK, "Get the state of its deliveries.")
_ROTATED: Final[_Link] = ("rotateWebhookSecret", _WEBHOOK, "If its secret has leaked.")
_TESTED: Final[_Link] = ("testWebhook", _WEBHOOK, "To check the receiver.")
_LOGGED: Final[_Link] = ("listDeliveries", _WEBHOOK, "Get the latest attempts.")
_WEBHOOK_REMOVED: Final[_Link] = ("removeWebhook", _WEBHOOK, "When it is no longer needed.")
_KEY: Final = {"key_id": "$response.body#/id"}
_SILHOUETTE: Final = {"silhouette_id": "$response.body#/id"}
_OUTLINED: Final[tuple[_Link, ...]] = (
    ("getSilhouette", _SILHOUETTE, "Get it again."),
    ("getSilhouetteDrawing", _SILHOUETTE, "Once it has an outline."),
    ("getSilhouetteOverlay", _SILHOUETTE, "Once it was read from a photo."),
    ("correctSilhouette", _SILHOUETTE, "If the outline is wrong."),
    ("removeSilhouette", _SILHOUETTE, "When it is no longer needed."),
)
_CHANGED: Final[_Link] = ("changeJob", _JOB, "To name, annotate or tag it.")
_CANCELLED: Final[_Link] = ("cancelJob", _JOB, "Until it has ended.")
_RETRIED: Final[_Link] = ("retryJob", _JOB, "If it has failed.")
_REMOVED: Final[_Link] = ("removeJob", _JOB, "Once it has ended.")
_SPEC: Final[_Link] = ("getSpec", _JOB, "Get what it was submitted as.")
_BATCH_CANCELLED: Final[_Link] = ("cancelBatch", _BATCH, "Until its jobs have ended.")
_BATCH_MADE: Final[tuple[_Link, ...]] = (
    ("getBatchManifest", _BATCH, "Once it has ended."),
    ("getBatchBundle", _BATCH, "Once it has ended."),
    ("removeBatch", _BATCH, "Once it has ended."),
)

#: By operation and status: the operations that can follow, their parameters, and when or why.
_LINKS: Final[dict[tuple[str, str], tuple[_Link, ...]]] = {
    ("submitJob", "201"): (("getJob", _JOB, "Get the result."), _RETRIED, _REMOVED, _SPEC, *_results(_JOB)),
    ("submitJob", "202"): (("getJob", _JOB, "Get the progress."), _CHANGED, _CANCELLED, _REMOVED, *_results(_JOB)),
    ("listJobs", "200"): (
        ("getJob", _FIRST_JOB, "Get the newest job."),
        ("listJobs", {"after": "$response.body#/jobs/0/id"}, "List all older jobs."),
    ),
    ("getJob", "200"): (_CHANGED, _CANCELLED, _RETRIED, _REMOVED, _SPEC, *_results(_JOB)),
    ("retryJob", "202"): (("getJob", _JOB, "Get the progress."), _CANCELLED),
    ("cancelJob", "200"): (("removeJob", _JOB, "As soon as it has ended."),),
    ("getManifest", "200"): (
        ("getFile", {**_SAME_JOB, "name": "$response.body#/parts/0/files/0/name"}, "Download any file by its name."),
        ("getRun", {**_SAME_JOB, "number": "$response.body#/runs/0/number"}, "Download any run by its number."),
        ("getRunSheet", {**_SAME_JOB, "number": "$response.body#/runs/0/number"}, "Download the sheet of any run."),
    ),
    ("recordPrint", "201"): _RECORDED,
    ("recordPrint", "200"): _RECORDED,
    ("createScheduleLink", "201"): (
        ("withdrawScheduleLink", _SAME_JOB, "When it is no longer needed, or has leaked."),
    ),
    ("getRuns", "200"): (_RUN,),
    ("submitBatch", "202"): (("getBatch", _BATCH, "Get the progress."), _BATCH_CANCELLED, *_BATCH_MADE),
    ("listBatches", "200"): (("getBatch", {"batch_id": "$response.body#/batches/0/id"}, "Get the newest batch."),),
    ("getBatch", "200"): (_BATCH_CANCELLED, *_BATCH_MADE),
    ("cancelBatch", "200"): (("getBatch", _BATCH, "Get what had ended before."), *_BATCH_MADE),
    ("getBatchManifest", "200"): (
        (
            "getBatchFile",
            {**_SAME_BATCH, "name": "$response.body#/runs/0/file"},
            "Download any run's file by its name.",
        ),
        ("getJob", {"job_id": "$response.body#/entries/0/job"}, "Get any job by its id; refused specs have none."),
    ),
    ("createWebhook", "201"): (_WEBHOOK_STATE, _TESTED, _LOGGED, _ROTATED, _WEBHOOK_REMOVED),
    ("listDeliveries", "200"): (
        (
            "redeliver",
            {"webhook_id": "$request.path.webhook_id", "delivery_id": "$response.body#/deliveries/0/id"},
            "If the receiver has lost it.",
        ),
    ),
    ("listWebhooks", "200"): (("getWebhook", _FIRST_WEBHOOK, "Get the oldest webhook."),),
    ("getWebhook", "200"): (_ROTATED, _WEBHOOK_REMOVED),
    ("rotateWebhookSecret", "200"): (_WEBHOOK_STATE, _WEBHOOK_REMOVED),
    **_kept(
        "Drawer",
        "drawer",
        ("getDrawerContents", "Once a piece was placed in it."),
        ("getDrawerMap", "Once a piece was placed in it."),
        ("placeWholeDrawer", "If its pieces were placed before."),
        ("changeDrawer", "When its things change."),
    ),
    ("importHousehold", "201"): (("exportHousehold", {}, "Get all that is there now."),),
    **_kept("Thing", "thing"),
    **_kept("Piece", "piece"),
    ("submitSilhouette", "201"): _OUTLINED,
    ("submitSilhouette", "202"): _OUTLINED,
    ("getSilhouette", "200"): _OUTLINED,
    ("correctSilhouette", "200"): _OUTLINED,
    ("listSilhouettes", "200"): (
        ("getSilhouette", {"silhouette_id": "$response.body#/silhouettes/0/id"}, "Get the newest one."),
    ),
    ("getSpec", "200"): (("getJob", _SAME_JOB, "Get the job that was made of it."),),
    ("listCatalogue", "200"): (
        ("getCatalogueEntry", {"entry_id": "$response.body#/things/0/id"}, "Get each by its id."),
    ),
}


def add_links(paths: dict[str, Any]) -> None:
    """Add the links to the responses of a document's operations."""
    operations = {operation["operationId"]: operation for path in paths.values() for operation in path.values()}
    for (name, status), links in _LINKS.items():
        operations[name]["responses"][status]["links"] = {
            to: {"operationId": operations[to]["operationId"], "parameters": parameters, "description": why}
            for to, parameters, why in links
        }

"""What schemathesis is told beyond the document: how to send specs line by line, whom to call, and what removes what.

Its own checks of what is there and what is not take DELETE for a removal. Here DELETE cancels, and what was made is
removed at an address of its own.
"""

import json
import time
from contextlib import suppress

import requests
import schemathesis
from schemathesis.generation.meta import TestPhase

from worker.jobs.common.errors import WebhookRefused
from worker.jobs.webhooks.safe_http_client import parse_target

_KEPT = ("webhook", "drawer", "thing", "piece")
_REMOVES = {"removeJob": "job_id", "removeBatch": "batch_id"} | {
    f"remove{kind.title()}": f"{kind}_id" for kind in _KEPT
}
_MAKES = {"submitJob": "job_id", "submitBatch": "batch_id"} | {f"create{kind.title()}": f"{kind}_id" for kind in _KEPT}

#: What was made, by the name of its parameter and its identity: whether it is there.
_there = {}


@schemathesis.serializer("application/x-ndjson")
def lines(context, value):  # noqa: ARG001 - the names are the hook's
    return value if isinstance(value, bytes) else (value if isinstance(value, str) else json.dumps(value)).encode()


@schemathesis.hook
def before_call(context, case, kwargs):  # noqa: ARG001 - the names are the hook's
    """Have nobody called who may be somebody: a name in .example never has an address (RFC 2606).

    No generated If-Match names anything that there is, and 412 would hide every other answer.
    """
    case.headers.pop("If-Match", None)
    if isinstance(case.body, dict) and isinstance(case.body.get("url"), str):
        with suppress(WebhookRefused):
            parse_target(case.body["url"])
            case.body = {**case.body, "url": "https://home.example/drawers"}


@schemathesis.check
def there_until_removed(context, response, case):  # noqa: ARG001 - the names are the hook's
    """What was made is known until it is removed, and never again; whatever is asked of it."""
    name = case.operation.definition.raw["operationId"]
    if name in _MAKES and response.status_code in (201, 202):
        _there.setdefault((_MAKES[name], response.json()["id"]), True)
    if response.status_code == 422:
        return  # a body is read before what it is for is looked up
    kind = response.json()["type"].rpartition("/")[2] if response.status_code == 404 and response.content else None
    for about in (case.path_parameters or {}).items():
        if about in _there and case.method.upper() != "HEAD":
            missing = kind == f"{about[0].removesuffix('_id')}-not-found"
            assert missing is not _there[about], f"{about} {'is not there' if missing else 'was removed'}."
            if _REMOVES.get(name) == about[0] and response.status_code == 204:
                _there[about] = False


@schemathesis.hook
def after_call(context, case, response):  # noqa: ARG001 - the names are the hook's
    """Wait for every second batch along the links: until it has ended it has nothing to show."""
    name = case.operation.definition.raw["operationId"]
    if name != "submitBatch" or response.status_code != 202 or case.meta.phase.name is not TestPhase.STATEFUL:
        return
    after_call.count = count = getattr(after_call, "count", 0) + 1
    end = time.monotonic() + 20.0
    while count % 2 and time.monotonic() < end:
        if requests.get(response.headers["location"][0], timeout=20.0).json()["state"] == "ended":
            return
        time.sleep(0.1)

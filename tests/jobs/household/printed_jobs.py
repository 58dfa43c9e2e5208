"""Jobs over drawers of the household that have succeeded, without meshes: their manifests are planned."""

from functools import cache
from hashlib import sha256
from itertools import count

import orjson

from tests.printing.progress.planned_manifest import manifest_of
from worker.jobs.household.layouts import PrintedJob
from worker.jobs.records.models import StoredFile
from worker.printing.progress.print_state import begin
from worker.printing.progress.remaining import follow, withdraw
from worker.spec import load
from worker.spec.requests.print_event import PrintEvent

_names = count()

#: A drawer with room for two kinds of trays; the name is completed by the id.
TOP = {"name": "top drawer", "width": 300, "depth": 260, "height": 60, "printer": {"bed": [220, 220, 220]}}
TRAYS = [
    {"name": "screws", "cells": [1, 1], "height": 30, "quantity": 3},
    {"name": "bits", "cells": [2, 1], "height": 25},
]


@cache
def _made(text):
    return manifest_of(load(orjson.loads(text)))


def add_job(records, blobs, document, *, owner="local", previous=None):
    """Add a job of this spec, as JSON, that has succeeded; return it as a `PrintedJob`."""
    if previous is not None:
        document = {**document, "previous": previous.model_dump(mode="json")}
    spec, manifest = _made(orjson.dumps(document))
    data = manifest.model_dump_json().encode()
    added = records.add(spec.name, spec.to_json(), owner=owner)
    key = f"test/household-{next(_names)}"
    blobs.put(key, data)
    file = StoredFile("manifest.json", "application/json", len(data), sha256(data).hexdigest(), key)
    assert records.succeed(records.claim(added.id, lease_seconds=600.0, attempts=3), [file])
    return PrintedJob(added.id, spec, manifest)


def record(prints, household, job, outcome, **fields):
    """Record a print event of the job with its effects on the household."""
    event = PrintEvent(outcome=outcome, **fields)

    def after(before):
        if event.event is not None:
            return withdraw(before, prints.events_without(job.id, event.event), job.manifest, job.spec)
        return follow(before or begin(job.manifest), event, job.manifest, job.spec)

    return prints.record(job.id, event, after, effects=household.effects(job, event))

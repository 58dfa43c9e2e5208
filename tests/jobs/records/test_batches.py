"""Batches on the record and through workers: each job by itself, then all of them together."""

import io
import json
import time
import zipfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256

import pytest
from obstore.exceptions import GenericError
from sqlalchemy import select

from worker.jobs.common.errors import (
    BatchNotFound,
    BatchNotReady,
    FileNotInJob,
    QuotaReached,
    RequestRepeated,
    WebhookNotFound,
)
from worker.jobs.common.principal import Principal, Quotas
from worker.jobs.database.connection import open_database
from worker.jobs.database.tables import OutboxRow
from worker.jobs.execution.batch_finalizer import BatchFinalizer
from worker.jobs.execution.transient_errors import TaskOutcome
from worker.jobs.records.batches import BatchRecords, CheckedSpec
from worker.jobs.records.idempotency import IdempotencyKey
from worker.jobs.records.webhooks.endpoints import WebhookEndpoints
from worker.output.meshes.run_package import read_run
from worker.spec.manifest import Manifest
from worker.spec.manifest.batch_manifest import BatchManifest
from worker.spec.requests.webhook import WebhookRequest

pytestmark = pytest.mark.service

_GOOD = CheckedSpec("bench left", "{}")
_BAD = CheckedSpec("bad", None, {"title": "It is bad.", "status": 422, "detail": "It is bad."})


@pytest.fixture
def batches(settings):
    database = open_database(settings.database)
    yield BatchRecords(database)
    database.dispose()


def _claim(batches, batch, seconds=60.0):
    return batches.claim(batch, lease_seconds=seconds, attempts=3)


def _states(batches, batch):
    return [entry.state for entry in batches.batch(batch).entries]


def test_good_specs_become_jobs_and_bad_ones_are_told_of(records, batches):
    batch, jobs = batches.add("all", [_GOOD, _BAD, _GOOD], owner="o")
    assert len(jobs) == 2
    assert _states(batches, batch) == ["queued", "refused", "queued"]
    assert batches.batch(batch).entries[1].problem["title"] == "It is bad."
    assert {job.id for job in records.jobs(9, None, owner="o")} == set(jobs)
    assert batches.batch(batch, owner="p") is None


def test_a_batch_is_gathered_once_all_have_ended(records, batches):
    batch, (cancelled, two) = batches.add("all", [_GOOD, _GOOD], owner="o")
    assert batches.waiting(quiet_seconds=60.0, limit=9, lease_seconds=60.0) == []
    records.cancel(cancelled)
    assert batches.of_job(cancelled) == []
    assert _claim(batches, batch) is None
    records.succeed(records.claim(two, lease_seconds=60.0, attempts=3), [])
    assert batches.of_job(two) == batches.waiting(quiet_seconds=60.0, limit=9, lease_seconds=60.0) == [batch]
    batches.mark_enqueued([batch])
    assert batches.waiting(quiet_seconds=60.0, limit=9, lease_seconds=60.0) == []
    with ThreadPoolExecutor(8) as pool:
        tokens = [token for token in pool.map(lambda _: _claim(batches, batch), range(8)) if token is not None]
    assert len(tokens) == 1
    assert batches.extend(batch, tokens[0], lease_seconds=60.0)
    assert batches.finish(batch, tokens[0], [])
    assert batches.batch(batch).state == "ended"
    assert not batches.fail(batch, tokens[0], {})
    assert _states(batches, batch) == ["cancelled", "succeeded"]


def test_a_lost_attempt_is_fenced_off_and_there_are_only_so_many(records, batches, blobs):
    batch, (job,) = batches.add("all", [_GOOD], owner="o")
    records.cancel(job)
    for _ in range(3):
        token = _claim(batches, batch, seconds=0.01)
        time.sleep(0.05)
        assert batches.waiting(quiet_seconds=60.0, limit=9, lease_seconds=60.0) == [batch]
    assert _claim(batches, batch) is None
    assert BatchFinalizer(records, batches, blobs).finalize(batch) is TaskOutcome.FAILED
    assert "in 3 attempts" in batches.batch(batch).problem["detail"]
    assert not batches.finish(batch, token, [])


def test_a_request_that_comes_again_makes_no_second_batch(batches):
    repeat = IdempotencyKey.of("k", "batch", "{}")
    with ThreadPoolExecutor(4) as pool:
        made = list(pool.map(lambda _: batches.add("all", [_GOOD], owner="o", repeat=repeat), range(4)))
    assert len({batch for batch, _ in made}) == 1
    assert sum(len(jobs) for _, jobs in made) == 1
    with pytest.raises(RequestRepeated):
        batches.add("all", [_GOOD], owner="o", repeat=IdempotencyKey.of("k", "batch", "[]"))


def test_a_batch_over_the_quota_is_taken_not_at_all(records, batches):
    quotas = Quotas(0, 2, 0, 0, 0)
    with pytest.raises(QuotaReached):
        batches.add("all", [_GOOD] * 3, owner="o", quotas=quotas)
    assert records.jobs(9, None) == []
    batches.add("all", [_GOOD] * 2, owner="o", quotas=quotas)
    assert len(records.jobs(9, None)) == 2


_HOME = "https://home.example/"


def _messages(batches):
    with batches._database.connect() as connection:
        rows = connection.execute(select(OutboxRow.webhook_id, OutboxRow.type, OutboxRow.batch_id, OutboxRow.payload))
        return [(row.webhook_id, row.type, row.batch_id, json.loads(row.payload)) for row in rows]


@pytest.fixture
def subscribe(batches):
    """Give a function that creates an endpoint of owner o and returns its id."""
    endpoints = WebhookEndpoints(batches._database)
    return lambda owner="o", **fields: endpoints.create(owner, WebhookRequest(url=_HOME, **fields))[0].id


@pytest.mark.parametrize("how", ["finish", "fail", "give_up"])
def test_a_batch_ends_with_one_message_however_it_ends(settings, records, subscribe, how):
    database = open_database(settings.database)
    batches = BatchRecords(database, "https://drawers.test")
    webhook = subscribe(events=["batch.ended"])
    subscribe("p", events=["batch.ended"])
    subscribe(events=["job.cancelled"], jobs="named")
    batch, (job, other) = batches.add("all", [_GOOD, _BAD, _GOOD], owner="o")
    records.cancel(job)
    records.succeed(records.claim(other, lease_seconds=60.0, attempts=3), [])
    token = _claim(batches, batch, seconds=0.01 if how == "give_up" else 60.0)
    assert _messages(batches) == []
    problem = {"type": "/problems/check-failed", "title": "No.", "status": 500, "detail": "No."}

    def end():
        if how == "finish":
            return batches.finish(batch, token, [])
        if how == "fail":
            return batches.fail(batch, token, problem)
        time.sleep(0.05)
        return batches.give_up(batch, lease_seconds=0.01, attempts=1, problem=problem)

    assert end()
    assert not end()
    ((receiver, kind, of, message),) = _messages(batches)
    assert (receiver, kind, of) == (webhook, "batch.ended", batch)
    assert message["type"] == "batch.ended"
    data, address = message["data"], f"https://drawers.test/v1/batches/{batch}"
    assert (data["id"], data["name"], data["state"], data["finished"]) == (batch, "all", "ended", message["timestamp"])
    states = {state: count for state, count in data["counts"].items() if count}
    assert states == {"refused": 1, "cancelled": 1, "succeeded": 1}
    assert data["links"]["self"] == address
    assert data["links"]["manifest"] == (f"{address}/manifest" if how == "finish" else None)
    assert (data["problem"] is None) == (how == "finish")
    if how != "finish":
        assert data["problem"]["type"] == "https://drawers.test/problems/check-failed"
    batches.remove(batch)
    assert _messages(batches) == []  # like those of a job that was deleted
    database.dispose()


def test_a_named_webhook_receives_the_end_of_a_batch_without_jobs(batches, blobs, records, subscribe):
    named, all_of_them = subscribe(jobs="named"), subscribe()
    for webhooks in ((), (named, named)):
        batch, jobs = batches.add("all", [_BAD], owner="o", webhooks=webhooks)
        assert jobs == []
        assert BatchFinalizer(records, batches, blobs).finalize(batch) is TaskOutcome.DONE
    assert [message[:2] for message in _messages(batches)].count((named, "batch.ended")) == 1
    assert [message[:2] for message in _messages(batches)].count((all_of_them, "batch.ended")) == 2
    with pytest.raises(WebhookNotFound):
        batches.add("all", [_BAD], owner="p", webhooks=[named])
    WebhookEndpoints(batches._database).remove(named, "o")
    assert {message[0] for message in _messages(batches)} == {all_of_them}


def test_the_store_away_is_waited_for(records, batches):
    class Away:
        def put(self, key, data):  # noqa: ARG002
            raise GenericError(key)

    batch, (job,) = batches.add("all", [_GOOD], owner="o")
    records.cancel(job)
    assert BatchFinalizer(records, batches, Away()).finalize(batch) is TaskOutcome.RETRY
    assert batches.waiting(quiet_seconds=60.0, limit=9, lease_seconds=60.0) == [batch]


def test_where_no_job_succeeded_there_is_a_manifest_all_the_same(records, batches, blobs):
    batch, (job,) = batches.add("all", [_BAD, _GOOD], owner="o")
    records.cancel(job)
    assert BatchFinalizer(records, batches, blobs).finalize(batch) is TaskOutcome.DONE
    manifest = BatchManifest.model_validate_json(blobs.get(batches.file(batch, "manifest.json").key))
    assert [entry.state for entry in manifest.entries] == ["refused", "cancelled"]
    assert (manifest.runs, manifest.generator, manifest.pieces) == ((), None, 0)


def test_owners_see_their_own_only(job_service):
    first_service, two = (job_service.on_behalf_of(Principal(owner, frozenset({"submit"}))) for owner in ("one", "two"))
    batch = first_service.submit_batch("all", [_GOOD, _GOOD])
    assert first_service.batch(batch.id) == batch
    for ask in (two.batch, two.cancel_batch, two.remove_batch, lambda it: two.batch_file(it, "manifest.json")):
        with pytest.raises(BatchNotFound):
            ask(batch.id)
    with pytest.raises(BatchNotReady):
        first_service.remove_batch(batch.id)
    assert {entry.state for entry in first_service.cancel_batch(batch.id).entries} == {"cancelled"}


def _read(job_service, file):
    data = b"".join(job_service.read(file))
    assert sha256(data).hexdigest() == file.sha256
    return data


def test_many_drawers_share_parts_and_beds(service, spec, until):
    """Through real workers: two jobs of the same trays, one of another filament, one on a printer of its own."""
    tray = {"name": "screws", "cells": [2, 2], "height": 30}
    large = {"printer": {"bed": [400, 400, 256]}}
    specs = [
        spec(tray, name="left", **large),
        spec(tray, name="right", **large),
        spec({**tray, "cells": [1, 2]}, name="red", **large, material={"name": "PETG", "colour": "#ff0000"}),
        spec(tray, name="small", printer={"bed": [150, 150, 150]}),
    ]
    judged = [CheckedSpec(valid.name, valid.model_dump_json()) for valid in specs] + [_BAD]
    batch = service.submit_batch("runner", judged)
    done = until(lambda: (now := service.batch(batch.id)).state == "ended" and now, 120.0)
    assert done.problem is None
    assert [entry.state for entry in done.entries] == ["succeeded"] * 4 + ["refused"]
    data = _read(service, service.batch_file(batch.id, "manifest.json"))
    manifest = BatchManifest.model_validate_json(data)
    own = {}
    for entry in manifest.entries[:4]:
        own[entry.entry] = Manifest.model_validate_json(_read(service, service.manifest(entry.job)))
        assert entry.drawers == ("top",)
    digests = [{part.digest for part in own[index].parts} for index in range(4)]
    assert digests[0] == digests[1]
    # every piece of every job is in one run, and beds are shared where printers are alike
    pieces = Counter((placed.entry, placed.mark) for run in manifest.runs for placed in run.pieces)
    for index, job_manifest in own.items():
        assert Counter(piece.mark for run in job_manifest.runs for piece in run.pieces) == {
            mark: count for (entry, mark), count in pieces.items() if entry == index
        }
    assert any({placed.entry for placed in run.pieces} >= {0, 1} for run in manifest.runs)
    assert [beds.entries for beds in manifest.beds] == [(0, 1, 2), (3,)]
    assert len(manifest.runs) < sum(len(job_manifest.runs) for job_manifest in own.values())
    assert manifest.grams == pytest.approx(sum(job_manifest.work.grams for job_manifest in own.values()), abs=0.01)
    assert {(purchase.material, purchase.colour) for purchase in manifest.purchases} == {
        ("PLA", None),
        ("PETG", "#ff0000"),
    }
    for run in manifest.runs:
        items = read_run(_read(service, service.batch_file(batch.id, run.file)))
        assert [item.part_number for item in items] == [f"{placed.entry}-{placed.mark}" for placed in run.pieces]
    archive = service.batch_archive(batch.id)
    with zipfile.ZipFile(io.BytesIO(b"".join(archive.read(0, archive.size)))) as opened:
        assert opened.testzip() is None
        names = set(opened.namelist())
        assert {name for name in names if name.count("/") == 0} == {"manifest.json"}
        assert {name for name in names if name.startswith("runs/")} == {f"runs/{run.file}" for run in manifest.runs}
        for entry in manifest.entries[:4]:
            with zipfile.ZipFile(io.BytesIO(_read(service, service.bundle(entry.job)))) as bundle:
                assert {f"{entry.folder}/{name}" for name in bundle.namelist()} <= names
                assert opened.read(f"{entry.folder}/manifest.json") == bundle.read("manifest.json")
    assert manifest.entries[4].folder is None
    with pytest.raises(FileNotInJob):
        service.batch_file(batch.id, "run-99.3mf")
    assert json.loads(data)["entries"][4]["problem"]["title"] == "It is bad."
    service.remove_batch(batch.id)
    with pytest.raises(BatchNotFound):
        service.batch(batch.id)
    assert service.job(manifest.entries[0].job).state == "succeeded"

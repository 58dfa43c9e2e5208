"""Idempotency-Key: a request that comes again makes nothing new (draft-ietf-httpapi-idempotency-key-header)."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from sqlalchemy import update

from worker.jobs.common.principal import Principal
from worker.jobs.database.connection import open_database
from worker.jobs.database.tables import IdempotencyRow
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.maintenance.job_deletion import JobDeletion
from worker.spec import load


@pytest.fixture
def key():
    return f'"{uuid4()}"'


def test_sent_twice_it_makes_one_job(service, job_service, spec, key):
    before = len(job_service.jobs(limit=200))
    first = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key})
    again = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key})
    assert (first.status_code, again.status_code) == (202, 202)
    assert first.json() == again.json()
    assert first.headers["location"] == again.headers["location"]
    assert len(job_service.jobs(limit=200)) == before + 1


def test_a_job_that_went_on_is_told_as_it_is_now(service, spec, key):
    at = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key}).headers["location"]
    service.delete(at)
    again = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key})
    assert (again.status_code, again.json()["state"]) == (202, "cancelled")
    assert service.delete(f"{at}/files").status_code == 204
    gone = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key})
    assert gone.status_code == 404


def test_how_a_spec_is_written_does_not_matter(service, spec, key):
    first = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key})
    turned = dict(reversed(spec.items()))
    again = service.post("/v1/jobs", json=turned, headers={"Idempotency-Key": key})
    assert first.json()["id"] == again.json()["id"]


def test_another_request_under_the_key_is_refused(service, job_service, spec, key):
    service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key})
    before = len(job_service.jobs(limit=200))
    answer = service.post("/v1/jobs", json={**spec, "name": "another"}, headers={"Idempotency-Key": key})
    assert answer.status_code == 422
    assert answer.json()["type"].endswith("/problems/request-repeated")
    assert len(job_service.jobs(limit=200)) == before


def test_a_refused_request_may_be_mended_under_its_key(service, spec, key):
    assert service.post("/v1/jobs", json={**spec, "drawers": []}, headers={"Idempotency-Key": key}).status_code == 422
    assert service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key}).status_code == 202


def test_a_bare_key_is_the_same_as_a_quoted_one(service, spec, key):
    first = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key})
    again = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key.strip('"')})
    assert first.json()["id"] == again.json()["id"]


@pytest.mark.parametrize("given", ['""', "", '"a', 'a b"', '"\\"', '"' + "x" * 256 + '"', "ä".encode()])
def test_a_key_that_cannot_be_read_is_refused(service, spec, given):
    answer = service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": given})
    assert answer.status_code == 400
    assert answer.json()["type"].endswith("/problems/header-refused")


def test_two_keys_at_once_are_refused(service, spec):
    answer = service.post("/v1/jobs", json=spec, headers=[("Idempotency-Key", "a"), ("Idempotency-Key", "b")])
    assert answer.status_code == 400


def test_of_many_at_once_one_makes_the_job(service, job_service, spec, key):
    before = len(job_service.jobs(limit=200))
    with ThreadPoolExecutor(8) as pool:
        answers = list(
            pool.map(lambda _: service.post("/v1/jobs", json=spec, headers={"Idempotency-Key": key}), range(8))
        )
    assert {answer.status_code for answer in answers} == {202}
    assert len({answer.json()["id"] for answer in answers}) == 1
    assert len(job_service.jobs(limit=200)) == before + 1


def test_each_owner_has_keys_of_their_own(job_service, spec):
    parsed = load(spec)
    first, two = (job_service.on_behalf_of(Principal(owner, frozenset({"submit"}))) for owner in ("one", "two"))
    assert first.submit(parsed, key="same").id == first.submit(parsed, key="same").id
    assert first.submit(parsed, key="same").id != two.submit(parsed, key="same").id


def test_old_keys_are_forgotten(settings, job_service, spec):
    parsed = load(spec)
    first = job_service.submit(parsed, key="old")
    database = open_database(settings.database)
    deletion = JobDeletion(database, ObjectStore.open(settings))
    deletion.run(0)
    assert job_service.submit(parsed, key="old").id == first.id
    with database.begin() as connection:
        old = datetime.now(UTC) - timedelta(days=8)
        connection.execute(update(IdempotencyRow).where(IdempotencyRow.key == "old").values(created=old))
    deletion.run(0)
    database.dispose()
    assert job_service.submit(parsed, key="old").id != first.id

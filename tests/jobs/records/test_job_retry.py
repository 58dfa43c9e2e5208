"""The retry of a failed job: it is queued like a new one, counts like one, and reopens its batches."""

import pytest

from worker.jobs.common.errors import QuotaReached
from worker.jobs.common.principal import Quotas
from worker.jobs.records.batches import BatchRecords, CheckedSpec
from worker.jobs.records.job_retry import retry_job
from worker.jobs.records.models import StoredFile

_PROBLEM = {"type": "/problems/internal-error", "title": "t", "status": 500}


def _claim(records, job_id):
    return records.claim(job_id, lease_seconds=60.0, attempts=3)


def _fail(records, job_id):
    assert records.fail(_claim(records, job_id), _PROBLEM)


@pytest.fixture
def failed(records, spec):
    job = records.add("failed", spec().model_dump_json())
    _fail(records, job.id)
    return job.id


def test_a_failed_job_is_queued_again_with_all_its_attempts(records, failed):
    before = records.job(failed)
    assert retry_job(records._engine, failed)
    job = records.job(failed)
    assert (job.state, job.attempts, job.problem, job.started, job.finished) == ("queued", 0, None, None, None)
    assert job.revision > before.revision
    assert records.waiting(quiet_seconds=60.0, limit=9) == [failed]
    assert _claim(records, failed).attempt == 1


def test_only_a_failed_job_is_retried(records, failed, spec):
    assert retry_job(records._engine, failed)
    assert not retry_job(records._engine, failed)
    cancelled = records.add("cancelled", spec().model_dump_json())
    records.cancel(cancelled.id)
    assert not retry_job(records._engine, cancelled.id)
    assert not retry_job(records._engine, "no such job")


def test_a_retry_counts_like_a_new_job(records, failed, spec):
    records.add("waiting", spec().model_dump_json())
    with pytest.raises(QuotaReached):
        retry_job(records._engine, failed, quotas=Quotas(waiting=1))
    assert records.job(failed).state == "failed"
    assert retry_job(records._engine, failed, quotas=Quotas(waiting=2))


def test_a_batch_that_had_ended_is_reopened(records, spec):
    batches = BatchRecords(records._engine)
    text = spec().model_dump_json()
    batch_id, (first, second) = batches.add("both", [CheckedSpec("a", text), CheckedSpec("b", text)], owner="local")
    assert records.succeed(_claim(records, first), [])
    _fail(records, second)
    token = batches.claim(batch_id, lease_seconds=60.0, attempts=3)
    assert batches.finish(batch_id, token, [StoredFile("manifest.json", "application/json", 9, "0" * 64, "key")])
    assert retry_job(records._engine, second)
    assert (batches.batch(batch_id).state, batches.file(batch_id, "manifest.json")) == ("running", None)
    assert batches.claim(batch_id, lease_seconds=60.0, attempts=3) is None
    assert records.succeed(_claim(records, second), [])
    assert batches.of_job(second) == [batch_id]
    assert batches.claim(batch_id, lease_seconds=60.0, attempts=3) is not None

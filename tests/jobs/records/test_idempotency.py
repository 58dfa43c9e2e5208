"""Requests that come again: one job, however many come at once and whatever goes wrong in between."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from worker.jobs.common.errors import JobNotFound, QuotaReached, RequestRepeated, WebhookNotFound
from worker.jobs.common.principal import Quotas
from worker.jobs.records.idempotency import IdempotencyKey
from worker.jobs.records.job_filters import JobFilters

pytestmark = pytest.mark.service


def test_of_many_at_once_one_makes_the_job(records):
    repeat = IdempotencyKey.of("k", "job", "{}")
    with ThreadPoolExecutor(8) as pool:
        made = {job.id for job in pool.map(lambda _: records.add("bench left", "{}", repeat=repeat), range(16))}
    assert len(made) == 1
    assert len(records.jobs(9, None)) == 1
    assert records.add("bench left", "{}", owner="another", repeat=repeat).id not in made


def test_what_was_refused_left_no_key_behind(records):
    repeat = IdempotencyKey.of("k", "job", "{}")
    with pytest.raises(WebhookNotFound):
        records.add("bench left", "{}", webhooks=["0" * 26], repeat=repeat)
    records.add("bench left", "{}", owner="o")
    with pytest.raises(QuotaReached):
        records.add("bench left", "{}", owner="o", quotas=Quotas(0, 1, 0, 0, 0), repeat=repeat)
    made = records.add("bench left", "{}", owner="o", repeat=repeat)
    # who has no room left is told again of what there is
    assert records.add("bench left", "{}", owner="o", quotas=Quotas(0, 1, 0, 0, 0), repeat=repeat) == made


def test_another_request_makes_nothing(records):
    records.add("bench left", "{}", repeat=IdempotencyKey.of("k", "job", "{}"))
    with pytest.raises(RequestRepeated):
        records.add("bench left", "{}", repeat=IdempotencyKey.of("k", "job", "{ }"))
    assert len(records.jobs(9, None)) == 1


def test_parts_of_what_is_asked_do_not_run_into_one_another():
    assert IdempotencyKey.of("k", "ab", "c") != IdempotencyKey.of("k", "a", "bc")
    assert IdempotencyKey.of("k", "ab") != IdempotencyKey.of("k", "ab", "")


def test_a_job_that_is_gone_is_not_made_again(records):
    repeat = IdempotencyKey.of("k", "job", "{}")
    first = records.add("bench left", "{}", owner="o", repeat=repeat)
    assert records.job(first.id, owner="p") is None
    with records._engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM jobs")
    with pytest.raises(JobNotFound):
        records.add("bench left", "{}", owner="o", repeat=repeat)


def test_a_revision_grows_with_what_can_be_seen(records):
    job = records.add("bench left", "{}")
    seen = [job.revision]
    records.mark_enqueued([job.id])
    seen.append(records.job(job.id).revision)
    claim = records.claim(job.id, lease_seconds=60.0, attempts=3)
    seen.append(records.job(job.id).revision)
    records.extend(claim, lease_seconds=60.0)
    seen.append(records.job(job.id).revision)
    records.succeed(claim, [])
    seen.append(records.job(job.id).revision)
    assert seen == [1, 1, 2, 2, 3]
    assert records.revisions([job.id, "0" * 26]) == {job.id: 3}


@pytest.mark.parametrize(
    ("filters", "names"),
    [
        (JobFilters(), ["100 %", "Bench_right", "bench left"]),
        (JobFilters(name="BENCH"), ["Bench_right", "bench left"]),
        (JobFilters(name="h_"), ["Bench_right"]),
        (JobFilters(name="%"), ["100 %"]),
        (JobFilters(name="/"), []),
        (JobFilters(states=("cancelled",)), ["bench left"]),
        (JobFilters(states=("cancelled", "queued"), name="b"), ["Bench_right", "bench left"]),
        (JobFilters(states=("running",)), []),
    ],
)
def test_jobs_are_chosen(records, filters, names):
    for name in ("bench left", "Bench_right", "100 %"):
        records.add(name, "{}")
    records.cancel(records.jobs(9, None)[-1].id)
    assert [job.name for job in records.jobs(9, None, filters=filters)] == names


def test_jobs_are_chosen_by_time(records):
    first, second, third = (records.add(f"job {number}", "{}") for number in range(3))
    assert records.jobs(9, None, filters=JobFilters(created_after=first.created, created_before=third.created)) == [
        second
    ]
    assert {job.id for job in records.changed_since(second.created, 9)} == {second.id, third.id}

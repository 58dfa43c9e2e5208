import asyncio
import logging

from api.app_state import maintain
from tests.coroutines import run_coroutine
from worker.spec import load


def test_maintenance_outlives_a_broker_that_is_away_and_warns_once(job_service, spec, caplog):
    job_service.submit(
        load(spec)
    )  # it waits, because no broker runs here; no app, which would do the same beside the test
    caplog.clear()

    async def run():
        task = asyncio.create_task(maintain(job_service, pause=0.01))
        await asyncio.sleep(1.0)
        assert not task.done()
        task.cancel()

    with caplog.at_level(logging.WARNING, logger="api.app_state"):
        run_coroutine(run())
    warnings = [record.getMessage() for record in caplog.records if record.name == "api.app_state"]
    assert len(warnings) == 1
    assert warnings[0].startswith("Jobs wait: The broker does not respond")


def test_a_job_is_taken_without_a_broker(service, job_service, spec):
    job = service.post("/v1/jobs", json=spec).json()["id"]
    assert job_service.job(job).state == "queued"

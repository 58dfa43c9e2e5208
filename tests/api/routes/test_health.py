from datetime import timedelta

from sqlalchemy import update

from api.app import create_app
from worker.jobs.common.settings import Settings
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import HeartbeatRow
from worker.jobs.job_service import JobService


def test_the_process_lives(service):
    answer = service.get("/livez")
    assert answer.status_code == 200
    assert answer.json() == {"status": "ok"}
    assert service.head("/livez").status_code == 200


def test_without_broker_and_worker_jobs_are_taken_and_that_is_told(service, spec):
    answer = service.get("/readyz")
    assert answer.status_code == 200
    assert answer.json() == {"status": "degraded", "away": ["broker", "worker"], "silent_workers": 0}
    assert service.head("/readyz").status_code == 200
    assert service.post("/v1/jobs", json=spec).status_code == 202


def test_a_store_that_is_gone_is_told(tmp_path, started):
    with JobService.open(Settings.read(data_dir=tmp_path)) as job_service, started(create_app(job_service)) as client:
        (tmp_path / "blobs").rmdir()
        assert "store" in client.get("/readyz").json()["away"]


def test_a_worker_that_was_seen_is_not_away(tmp_path, started):
    with JobService.open(Settings.read(data_dir=tmp_path)) as job_service, started(create_app(job_service)) as client:
        job_service.heartbeats.beat("host:1")
        assert client.get("/readyz").json()["away"] == ["broker"]


def test_a_worker_that_has_stopped_answering_is_told_although_another_works(tmp_path, started):
    with JobService.open(Settings.read(data_dir=tmp_path)) as job_service, started(create_app(job_service)) as client:
        for worker in ("host:1", "host:2", "host:3"):
            job_service.heartbeats.beat(worker)
        with job_service._database.begin() as connection:
            since = {"host:2": timedelta(minutes=2), "host:3": timedelta(hours=1)}  # the third is taken for gone
            for worker, silence in since.items():
                seen = update(HeartbeatRow).where(HeartbeatRow.worker == worker)
                connection.execute(seen.values(seen=utc_now() - silence))
        answer = client.get("/readyz").json()
        assert ("worker" in answer["away"], answer["silent_workers"], answer["status"]) == (False, 1, "degraded")
        job_service.heartbeats.forget("host:2")  # it has shut down
        assert job_service.heartbeats.silent_workers() == 0
        assert job_service.heartbeats.workers() == ["host:1", "host:3"]


def test_without_its_record_the_service_lives_but_is_not_ready(tmp_path, started, take_record_away):
    with JobService.open(Settings.read(data_dir=tmp_path)) as job_service, started(create_app(job_service)) as client:
        take_record_away(job_service)
        assert client.get("/livez").status_code == 200
        answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["type"].endswith("/problems/not-ready")


def test_an_app_made_from_settings_opens_and_closes_its_own_engine(tmp_path, started):
    app = create_app(Settings.read(data_dir=tmp_path))
    with started(app) as client:
        assert client.get("/readyz").status_code == 200
    assert (tmp_path / "jobs.sqlite3").exists()

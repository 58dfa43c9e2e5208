import pytest

from api.app import create_app
from worker.jobs.engine import Engine
from worker.jobs.settings import Settings


@pytest.mark.parametrize("path", ["/livez", "/readyz"])
def test_all_is_well(service, path):
    answer = service.get(path)
    assert answer.status_code == 200
    assert answer.json() == {"status": "ok"}
    assert service.head(path).status_code == 200


def test_without_its_record_the_service_lives_but_is_not_ready(tmp_path, started):
    with Engine.open(Settings.read(data_dir=tmp_path)) as engine, started(create_app(engine)) as client:
        engine._database.dispose()
        for path in tmp_path.glob("jobs.sqlite3*"):
            path.unlink()
        (tmp_path / "jobs.sqlite3").mkdir()
        assert client.get("/livez").status_code == 200
        answer = client.get("/readyz")
    assert answer.status_code == 503
    assert answer.json()["type"].endswith("/problems/not-ready")


def test_an_app_made_from_settings_opens_and_closes_its_own_engine(tmp_path, started):
    app = create_app(Settings.read(data_dir=tmp_path))
    with started(app) as client:
        assert client.get("/readyz").status_code == 200
    assert (tmp_path / "jobs.sqlite3").exists()

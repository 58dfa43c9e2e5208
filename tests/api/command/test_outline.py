"""``drawerwright outline``, over a real service, while a worker reads in a thread of the test."""

import json
from threading import Event, Thread

import pytest
from typer.testing import CliRunner

from api.command import app
from worker.jobs.execution.silhouettes.silhouette_runner import SilhouetteRunner

pytestmark = [pytest.mark.service, pytest.mark.usefixtures("worker")]

_SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    '<path d="M5 5h50v30h-50z"/></svg>'
)


@pytest.fixture(scope="module")
def worker(job_service, blobs):
    """A worker that reads what is queued."""
    records, over = job_service.silhouettes.records, Event()

    def read():
        while not over.wait(0.05):
            for silhouette_id in records.waiting(quiet_seconds=0.0, limit=5):
                SilhouetteRunner(records, blobs).run(silhouette_id)

    thread = Thread(target=read)
    thread.start()
    yield
    over.set()
    thread.join()


@pytest.fixture
def run(monkeypatch, tmp_path, url):
    """Return a function that runs `outline` in a folder with some files, with that service set."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setenv("DRAWERWRIGHT_URL", url)
    (tmp_path / "shim.svg").write_text(_SVG)
    (tmp_path / "dots.svg").write_text(_SVG.replace("mm", ""))
    (tmp_path / "plate.json").write_text(json.dumps({"name": "plate", "points": [[0, 0], [40, 0], [40, 20], [0, 20]]}))
    return lambda *arguments: CliRunner().invoke(app, ["outline", *arguments])


def test_a_drawing_becomes_an_outline_that_a_spec_can_name(run, tmp_path):
    ended = run("shim.svg", "--thickness", "2 mm", "--out", "pictures")

    assert ended.exit_code == 0, ended.output
    size, shape = ended.stdout.splitlines()
    assert size.startswith("shim: 50.0 x 30.0 mm, 2 mm high, within ")
    silhouette_id = json.loads(f"{{{shape}}}")["shape"]["id"]
    assert (tmp_path / "pictures" / f"{silhouette_id}-outline.svg").read_text().startswith("<")


def test_corners_need_no_worker_and_json_has_the_whole_document(run):
    document = json.loads(run("plate.json", "--json").stdout)

    assert (document["kind"], document["state"], document["name"]) == ("points", "succeeded", "plate")


def test_a_file_that_shows_no_outline_ends_with_its_reason(run):
    ended = run("dots.svg", "--json")

    assert ended.exit_code == 1
    assert json.loads(ended.stdout)["problem"]["reason"] == "no-unit"
    assert run("dots.svg").exit_code == 1
    assert run("missing.svg").exit_code == 2
    assert run("shim.svg", "dots.svg", "--json").exit_code == 2

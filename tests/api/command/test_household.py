"""``drawerwright household``, over a real service."""

import json

import pytest
from typer.testing import CliRunner

from api.command import app
from tests.jobs.household.printed_jobs import TOP
from worker.spec.requests.household import DrawerRequest, ThingRequest

pytestmark = pytest.mark.service


@pytest.fixture
def run(monkeypatch, tmp_path, url):
    """Return a function that runs `household` in an empty folder, with that service set."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setenv("DRAWERWRIGHT_URL", url)
    return lambda *arguments, **options: CliRunner().invoke(app, ["household", *arguments], **options)


def test_a_household_is_exported_imported_and_reported_on(run, job_service, tmp_path):
    household = job_service.household
    for name in ("hall", "kitchen"):
        drawer = household.drawers.create("local", DrawerRequest(**{**TOP, "name": name}))
        household.things.create("local", ThingRequest(name="torch", drawer=drawer.id))

    ended = run("export", "house.json")

    assert ended.exit_code == 0, ended.output
    document = json.loads((tmp_path / "house.json").read_text())
    assert [entry["drawer"]["name"] for entry in document["drawers"]] == ["hall", "kitchen"]
    assert json.loads(run("export").stdout) == document

    taken = run("import", "house.json")
    assert taken.exit_code == 2
    assert "ids of the document are taken" in taken.stderr
    added = run("import", "house.json", "--new-ids")
    assert added.exit_code == 0, added.output
    assert "2 drawers, 2 things and 0 pieces were added." in added.stdout

    report = run("report")
    assert report.exit_code == 0, report.output
    assert "Torch is in 4 drawers: 1 in hall, 1 in kitchen, 1 in hall and 1 in kitchen." in report.stdout
    own = json.loads(run("report", "--drawer", document["drawers"][0]["id"], "--json").stdout)
    assert [entry["name"] for entry in own["drawers"]] == ["hall"]
    nothing = json.loads(run("import", "-", "--json", input='{"household": "1"}').stdout)
    assert nothing == {"drawers": 0, "things": 0, "pieces": 0}

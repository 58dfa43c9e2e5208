"""``drawerwright where``, over a real service."""

import json

import pytest
from typer.testing import CliRunner

from api.command import app
from tests.jobs.household.printed_jobs import TOP, add_job
from worker.spec.requests.household import DrawerRequest, ThingRequest

pytestmark = pytest.mark.service


@pytest.fixture
def run(monkeypatch, tmp_path, url):
    """Return a function that runs `where` in an empty folder, with that service set."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setenv("DRAWERWRIGHT_URL", url)
    return lambda *arguments: CliRunner().invoke(app, ["where", *arguments])


def test_it_says_where_a_thing_lies(run, job_service, records, blobs):
    household = job_service.household
    drawer = household.drawers.create("local", DrawerRequest(**TOP, place="in the workshop"))
    shape = {"kind": "box", "size": [60, 30, 15]}
    household.things.create("local", ThingRequest(name="calliper", shape=shape, drawer=drawer.id))
    spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [{"id": drawer.id}]}
    household.lay_out(drawer.id, "local", add_job(records, blobs, household.resolve(spec, None)), None)

    ended = run("my", "calipper")

    assert ended.exit_code == 0, ended.output
    sentence, link = ended.stdout.splitlines()
    assert sentence.startswith("Calliper: in top drawer in the workshop, tray T")
    assert f"/v1/drawers/{drawer.id}/map.svg?thing=" in link
    document = json.loads(run("calliper", "--json").stdout)
    assert document["things"][0]["match"]["sentence"] == sentence


def test_what_is_not_there_ends_with_1(run):
    assert run("xylophone").exit_code == 1
    assert json.loads(run("xylophone", "--json").stdout) == {"things": []}

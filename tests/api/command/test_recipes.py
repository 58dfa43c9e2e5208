"""The recipes of `.readme/automation.md`, word for word, against a real service with its broker and worker."""

import json
import os
import re
import subprocess
import zipfile
from pathlib import Path

import icalendar
import pytest

from api.command.server import listening
from api.openapi import examples
from tests.programs import program
from worker.jobs.common.settings import Settings
from worker.jobs.processes.supervisor import Supervisor
from worker.spec.manifest import Manifest

pytestmark = pytest.mark.service

_PAGE = Path(__file__).parents[3] / ".readme" / "automation.md"
_RECIPE = re.compile(r"^<!-- recipe -->\n```sh\n(.*?)^```$", re.DOTALL | re.MULTILINE)


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    settings = Settings.read(data_dir=tmp_path_factory.mktemp("data"), port=0)
    with Supervisor(settings), listening(settings) as url:
        yield url


def test_each_recipe_does_what_it_says(service, tmp_path):
    program("curl")
    recipes = _RECIPE.findall(_PAGE.read_text())
    assert len(recipes) == 3
    (tmp_path / "drawer.json").write_bytes(examples.text("workshop-week"))
    kept = {name: value for name, value in os.environ.items() if not name.lower().endswith("_proxy")}
    script = "set -eu\n" + "\necho ----\n".join([*recipes, recipes[0] + '\necho "$job"\n', recipes[1]])
    ended = subprocess.run(
        ["bash", "-c", script],
        cwd=tmp_path,
        env={**kept, "SERVICE": service, "HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=180,
        check=False,
    )
    assert ended.returncode == 0, ended.stdout + ended.stderr
    _, fetched, last, again, once_more = (part.strip() for part in ended.stdout.split("----\n"))
    printed, _, events = last.partition("\n")
    assert fetched == "bundle.zip: OK"
    with zipfile.ZipFile(tmp_path / "bundle.zip") as bundle:
        name = next(member for member in bundle.namelist() if member.endswith("manifest.json"))
        manifest = Manifest.model_validate_json(bundle.read(name))
    assert [run["number"] for run in json.loads((tmp_path / "runs.json").read_bytes())["runs"]] == [
        run.number for run in manifest.runs
    ]
    with zipfile.ZipFile(tmp_path / "run-01.3mf") as run:
        assert run.testzip() is None
    assert icalendar.Calendar.from_ical((tmp_path / "schedule.ics").read_bytes()).events
    recorded = json.loads(printed)
    assert (recorded["outcome"], recorded["run"], recorded["id"]) == ("printed", 1, "morning")
    assert "event: job.succeeded" in events
    assert once_more == fetched  # which ends with 0 although nothing is left to fetch
    # sent again it was the same job
    job = json.loads(re.search(r"^data: (.*)$", events, re.MULTILINE)[1])
    assert again == job["links"]["self"]

"""A client that a public generator makes of the published document does the whole job with a real service."""

import importlib
import json
import subprocess
import sys
import time
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace

import pytest

from api.command.server import listening
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.processes.supervisor import Supervisor

pytestmark = pytest.mark.service

_OPENAPI = Path(__file__).parents[3] / "openapi"

#: Types that the generator does not know by name: bytes, or text.
_CONFIG = """
content_type_overrides:
  application/x-ndjson: application/octet-stream
  application/zip: application/octet-stream
  model/3mf: application/octet-stream
  model/gltf-binary: application/octet-stream
  model/stl: application/octet-stream
  text/calendar: text/plain
  text/csv: text/plain
  text/event-stream: text/plain
  application/pdf: application/octet-stream
  image/png: application/octet-stream
  image/svg+xml: text/plain
post_hooks: []
"""


@pytest.fixture(scope="module")
def generated(tmp_path_factory):
    """The modules of the client, and what the generator had to say."""
    room = tmp_path_factory.mktemp("generated")
    (room / "config.yml").write_text(_CONFIG)
    name = "drawers_made_by_a_generator"
    command = [
        sys.executable, "-m", "openapi_python_client", "generate", "--meta", "none", "--config", room / "config.yml",
        "--path", _OPENAPI / "openapi.json", "--output-path", room / name,
    ]  # fmt: skip
    run = subprocess.run(command, capture_output=True, text=True, timeout=240, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
    sys.path.insert(0, str(room))

    def part(path):
        return importlib.import_module(f"{name}.{path}")

    yield SimpleNamespace(part=part, models=part("models"), client=part("client"), said=run.stdout + run.stderr)
    sys.path.remove(str(room))
    for module in [module for module in sys.modules if module.partition(".")[0] == name]:
        del sys.modules[module]


@pytest.fixture(scope="module")
def client(generated, tmp_path_factory):
    """A client of a service with a broker, a worker and a key."""
    settings = Settings.read(data_dir=tmp_path_factory.mktemp("data"), port=0)
    with Supervisor(settings), JobService.open(settings) as job_service, listening(settings) as address:
        _, token = job_service.keys.create("generated", ["submit", "read", "record"])
        with generated.client.AuthenticatedClient(
            base_url=address, token=token.get_secret_value(), timeout=90.0
        ) as made:
            yield made


def test_the_generator_understands_the_whole_document(generated):
    assert "WARNING" not in generated.said, generated.said
    assert "rror" not in generated.said, generated.said


def test_a_job_from_its_spec_to_its_files(generated, client):
    jobs, prints, models = (lambda name: generated.part(f"api.jobs.{name}")), generated.part, generated.models
    text = (_OPENAPI / "examples" / "small.json").read_bytes()
    spec = models.Spec.from_dict(json.loads(text))
    answer = jobs("submit_job").sync_detailed(client=client, body=spec, prefer="wait=60", idempotency_key='"g-1"')
    assert answer.status_code in (201, 202), answer.content
    job = answer.parsed
    end = time.monotonic() + 120.0
    tag = None
    while job.state not in ("succeeded", "failed", "cancelled"):
        assert time.monotonic() < end
        more = {} if tag is None else {"if_none_match": tag}
        answer = jobs("get_job").sync_detailed(job.id, client=client, prefer="wait=20", **more)
        tag = answer.headers["etag"]
        job = job if answer.status_code == 304 else answer.parsed
    assert job.state == "succeeded", job
    again = jobs("submit_job").sync(client=client, body=spec, idempotency_key='"g-1"')
    assert again.id == job.id
    manifest = jobs("get_manifest").sync(job.id, client=client)
    assert isinstance(manifest, models.Manifest)
    assert [part.mark for part in manifest.parts] == ["F1", "T1", "T2"]
    stl = next(file for file in manifest.parts[0].files if file.name.endswith(".stl"))
    data = jobs("get_file").sync_detailed(job.id, stl.name, client=client).content
    assert sha256(data).hexdigest() == stl.sha256
    bundle = jobs("get_bundle").sync(job.id, client=client)
    assert BytesIO(bundle.payload.read()).read(2) == b"PK"
    runs = prints("api.prints.get_runs").sync(job.id, client=client)
    assert len(runs.runs) == len(manifest.runs)
    page = jobs("list_jobs").sync(client=client, name="hall")
    assert [entry.id for entry in page.jobs] == [job.id]


def test_a_batch(generated, client):
    models, part = generated.models, generated.part
    small = json.loads((_OPENAPI / "examples" / "small.json").read_bytes())
    body = models.BatchRequest.from_dict({"batch": "1", "name": "both", "specs": [small, {**small, "name": "other"}]})
    batch = part("api.batches.submit_batch").sync(client=client, body=body)
    assert batch.counts.refused == 0
    end = time.monotonic() + 120.0
    while batch.state != "ended":
        assert time.monotonic() < end
        time.sleep(0.2)
        batch = part("api.batches.get_batch").sync(batch.id, client=client)
    manifest = part("api.batches.get_batch_manifest").sync(batch.id, client=client)
    assert {piece.entry for run in manifest.runs for piece in run.pieces} == {0, 1}


def test_a_problem_is_a_problem(generated, client):
    models = generated.models
    answer = generated.part("api.jobs.get_job").sync_detailed("0" * 26, client=client)
    assert (answer.status_code, answer.parsed.status) == (404, 404)
    assert isinstance(answer.parsed, models.Problem)

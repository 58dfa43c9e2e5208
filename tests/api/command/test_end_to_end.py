"""The commands as a person runs them: real processes, broker, worker, files."""

import hashlib
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from pathlib import Path

import httpx
import jsonschema
import pytest
import trimesh

from api.command.service.downloads import entries
from api.openapi import examples
from worker.spec.manifest import Manifest

pytestmark = pytest.mark.service

_ROOT = Path(__file__).parents[3]
_PROGRAM = [sys.executable, "-m", "api.command"]


@pytest.fixture(scope="module")
def environment():
    kept = {name: value for name, value in os.environ.items() if not name.startswith("DRAWERWRIGHT_")}
    return {**kept, "PYTHONPATH": str(_ROOT)}


def _checked(out):
    """Return the manifest of a folder, after every file in it was compared with what the manifest says."""
    document = json.loads((out / "manifest.json").read_bytes())
    schema = json.loads((_ROOT / "openapi" / "manifest.schema.json").read_bytes())
    jsonschema.Draft202012Validator(schema).validate(document)
    manifest = Manifest.model_validate(document)
    files = entries(manifest)
    assert {path.name for path in out.iterdir()} == {"manifest.json", *(file.name for file in files)}
    for file in files:
        data = (out / file.name).read_bytes()
        assert (len(data), hashlib.sha256(data).hexdigest()) == (file.bytes, file.sha256), file.name
    assert all(
        check.passed for check in (*manifest.assembly, *(check for part in manifest.parts for check in part.checks))
    )
    return manifest


def test_the_demo_makes_a_drawer_from_nothing(environment, tmp_path):
    run = subprocess.run(
        [*_PROGRAM, "demo"], cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=300, check=False
    )
    assert run.returncode == 0, run.stderr
    manifest = _checked(tmp_path / "out")
    kinds = {kind: [part for part in manifest.parts if part.kind == kind] for kind in ("tile", "tray", "coupon")}
    assert len(kinds["tray"]) == 10
    assert len(kinds["tile"]) >= 2
    assert kinds["coupon"]
    drawer = manifest.drawers[0]
    assert drawer.cells.across == (8, 9)  # 338 x 391 mm hold 8.05 x 9.31 cells of 42 mm
    for part in manifest.parts:
        assert re.search(rf"^ *{part.mark} +{part.kind} ", run.stdout, re.MULTILINE)
        mesh = trimesh.load(tmp_path / "out" / part.files[0].name, process=True)  # STL says each corner anew
        assert mesh.is_watertight
        assert mesh.volume == pytest.approx(part.volume, rel=1e-4)
    with zipfile.ZipFile(tmp_path / "out" / "bundle.zip") as bundle:
        assert bundle.testzip() is None
        names = {name.rpartition("/")[2] for name in bundle.namelist()}
    assert {"manifest.json"} | {file.name for part in manifest.parts for file in part.files} <= names


@pytest.mark.parametrize("sign", [signal.SIGINT, signal.SIGTERM])
def test_a_demo_that_is_ended_early_leaves_nothing_behind(environment, tmp_path, sign):
    with tempfile.TemporaryDirectory(prefix="dw-") as room:  # short, so that the broker's socket fits into it
        surroundings = {**environment, "TMPDIR": room}
        with subprocess.Popen(
            [*_PROGRAM, "demo"], cwd=tmp_path, env=surroundings, stderr=subprocess.PIPE, text=True
        ) as process:
            assert "Starting" in process.stderr.readline()
            time.sleep(1.0)
            assert any(Path(room).iterdir())
            process.send_signal(sign)
            assert process.wait(timeout=60) not in (0, -sign)
            assert "Traceback" not in process.stderr.read()
        assert not any(Path(room).iterdir())
    assert not (tmp_path / "out").exists()


def test_ctrl_c_during_an_import_exits_with_130(environment, tmp_path):
    (tmp_path / "probe.py").write_text(
        "import os, signal\n"
        "from api import command\n"
        "@command.app.command()\n"
        "def probe():\n"
        "    exec('os.kill(os.getpid(), signal.SIGINT)', globals())  # as `dataclass` executes a method's source\n"
        "command.main()\n"
    )
    ended = subprocess.run(
        [sys.executable, "-m", "probe", "probe"], cwd=tmp_path, env=environment, capture_output=True, check=False
    )
    assert (ended.returncode, ended.stderr) == (130, b"")


@pytest.fixture(scope="module")
def served(environment, tmp_path_factory, until):
    """Yield the address of a service that was started with `serve`; it must end well when told to."""
    data = tmp_path_factory.mktemp("served")
    command = [*_PROGRAM, "serve", "--port", "0", "--data", str(data)]
    output = tmp_path_factory.mktemp("output") / "log"  # a pipe that nobody empties would stop the service
    with output.open("wb") as log:
        process = subprocess.Popen(command, env=environment, stderr=log, stdout=subprocess.DEVNULL)

    def listens():
        assert process.poll() is None, output.read_text()
        return re.search(r"listens on (http://127\.0\.0\.1:\d+)", output.read_text())

    try:
        address = until(listens)
        yield address[1]
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=60) == 0
        with pytest.raises(httpx.ConnectError):
            httpx.get(f"{address[1]}/livez", trust_env=False)
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()


def _submit(environment, folder, url, *more, **options):
    command = [*_PROGRAM, "submit", *more, "--url", url]
    return subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, timeout=300, check=False, **options
    )


def test_a_spec_is_submitted_and_its_files_arrive(served, environment, tmp_path):
    run = _submit(environment, tmp_path, served, "-", "--json", "--out", "parts", input=examples.text("small"))
    assert run.returncode == 0, run.stderr
    result = json.loads(run.stdout)
    assert result["job"]["state"] == "succeeded"
    assert {Path(file).name for file in result["files"]} == {path.name for path in (tmp_path / "parts").iterdir()}
    manifest = _checked(tmp_path / "parts")
    assert result["manifest"] == json.loads((tmp_path / "parts" / "manifest.json").read_bytes())
    assert [part.mark for part in manifest.parts] == ["F1", "T1", "T2"]


def test_a_failed_run_is_repacked_by_a_worker(served, environment, tmp_path):
    run = _submit(environment, tmp_path, served, "-", "--json", input=examples.text("small"))
    assert run.returncode == 0, run.stderr
    job, planned = json.loads(run.stdout)["job"], json.loads(run.stdout)["manifest"]["runs"]

    def say(*words):
        command = [*_PROGRAM, *words, "--url", served]
        ended = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=120, check=False)
        return ended.returncode, ended.stdout + ended.stderr

    with httpx.Client(base_url=served, trust_env=False, timeout=60) as client:
        assert client.get(f"/v1/jobs/{job['id']}/runs/{planned[0]['number']}.3mf").status_code == 200
        code, output = say("printed", job["id"], "--run", str(planned[-1]["number"]), "--failed", "--json", "--id", "a")
        assert (code, json.loads(output)["outcome"], json.loads(output)["runs_left"]) == (0, "failed", len(planned))
        number = len(planned) + 1
        path = f"/v1/jobs/{job['id']}/runs/{number}.3mf"
        end = time.monotonic() + 60
        while (answer := client.get(path)).status_code == 409:
            assert int(answer.headers["retry-after"]) > 0
            assert time.monotonic() < end
            time.sleep(0.05)
        assert answer.status_code == 200, answer.text
        (tmp_path / "run.3mf").write_bytes(answer.content)
        with zipfile.ZipFile(tmp_path / "run.3mf") as package:
            assert package.testzip() is None
            assert any(name.endswith(".png") for name in package.namelist())
        scene = trimesh.load(tmp_path / "run.3mf")
        assert len(scene.graph.nodes_geometry) == len(planned[-1]["pieces"])
        left = client.get(f"/v1/jobs/{job['id']}/runs").json()
        assert next(run["file"] for run in left["runs"] if run["number"] == number) == f"run-{number:02d}.3mf"
    code, output = say("prints", job["id"])
    assert code == 0
    assert re.search(rf"^ *{number} +open, repacked", output, re.MULTILINE)
    assert say("printed", job["id"], "--mark", "Z9")[0] == 2
    assert say("printed", job["id"])[0] == 2
    assert say("prints", "0" * 26)[0] == 2


@pytest.mark.parametrize("name", [name for name in examples.names() if name not in ("small", examples.DEMO)])
def test_each_example_is_built(served, environment, tmp_path, name):
    (tmp_path / "spec.json").write_bytes(examples.text(name))
    run = _submit(environment, tmp_path, served, "spec.json")
    assert run.returncode == 0, run.stderr
    assert _checked(tmp_path / "out").name == examples.document(name)["name"]


def test_a_batch_is_saved_in_one_folder(served, environment, tmp_path):
    spec = examples.document("small")
    (tmp_path / "first.json").write_text(json.dumps({**spec, "name": "../first"}, indent=2))
    (tmp_path / "more.ndjson").write_text(json.dumps({**spec, "name": "second"}) + "\n{}\n")
    command = [*_PROGRAM, "batch", "first.json", "more.ndjson", "--out", "all", "--json", "--url", served]
    run = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, timeout=300, check=False)
    assert run.returncode == 1, run.stderr  # the last is no spec
    assert [entry["state"] for entry in json.loads(run.stdout)["entries"]] == ["succeeded", "succeeded", "refused"]
    for folder in ("001-first", "002-second"):
        _checked(tmp_path / "all" / folder)
    over = json.loads((tmp_path / "all" / "manifest.json").read_bytes())
    files = {run["file"] for run in over["runs"]}
    assert files
    assert {path.name for path in (tmp_path / "all").iterdir()} == {"001-first", "002-second", "manifest.json", *files}
    command.append("--strict")
    refused = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, timeout=300, check=False)
    assert refused.returncode == 2


def test_the_answers_are_what_the_contract_says(served):
    published = json.loads((_ROOT / "openapi" / "openapi.json").read_bytes())

    def validate(answer, model):
        jsonschema.Draft202012Validator({**published, "$ref": f"#/components/schemas/{model}"}).validate(answer.json())

    with httpx.Client(base_url=served, trust_env=False, timeout=60) as client:
        taken = client.post("/v1/jobs", json=examples.document("small"))
        validate(taken, "JobDocument")
        validate(client.get("/v1/jobs"), "JobPage")
        validate(client.post("/v1/plans", json=examples.document("small")), "PlanDocument")
        validate(client.post("/v1/plans", json={}), "Problem")
        validate(client.delete("/v1/jobs/x"), "Problem")
        validate(client.get("/livez"), "Health")
        done = client.get("/v1/jobs", params={"limit": 100}).json()["jobs"]
        job = next(job for job in done if job["state"] == "succeeded")
        validate(client.get(job["links"]["manifest"]), "Manifest")
        whole = client.get(job["links"]["bundle"])
        part = client.get(job["links"]["bundle"], headers={"Range": "bytes=10-19", "If-Range": whole.headers["etag"]})
        assert part.status_code == 206
        assert part.content == whole.content[10:20]
        again = client.get(job["links"]["bundle"], headers={"If-None-Match": whole.headers["etag"]})
        assert again.status_code == 304

import json
import socket
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from threading import Event, Thread

import pytest
from typer.testing import CliRunner

from api.command import app
from api.command.options import default_url, is_open
from api.openapi import examples
from worker.jobs.common.settings import Settings
from worker.jobs.records.job_document import stored_problem
from worker.spec.errors import CheckFailed
from worker.spec.manifest import PlanDocument


@pytest.fixture
def run(monkeypatch, tmp_path):
    """Return a function that runs the command line in an empty folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    return lambda *arguments, **options: CliRunner().invoke(app, [str(argument) for argument in arguments], **options)


@pytest.fixture
def small(tmp_path):
    path = tmp_path / "small.json"
    path.write_bytes(examples.text("small"))
    return path


@pytest.fixture
def free_port():
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return listener.getsockname()[1]


def test_without_a_command_help_is_shown(run):
    result = run()
    assert result.exit_code == 2
    for command in ("serve", "demo", "submit", "plan", "Exit codes"):
        assert command in result.stdout + result.stderr


def test_a_plan_is_a_table_that_fits_a_narrow_terminal(run, small):
    result = run("plan", small)
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert lines[0] == "keys and coins: 3 x 3 cells of 42 mm, 9 in total; 10.0 x 10.0 mm left over, 4 cells free"
    table = [line for line in lines[1:] if not line.startswith(("Caution", "Warning"))]
    assert max(map(len, table)) <= 80
    assert any(line.split()[:3] == ["T1", "tray", "keys"] for line in table)


def test_plan_as_json_is_the_plan_document(run, small):
    result = run("plan", small, "--json")
    assert result.exit_code == 0
    plan = PlanDocument.model_validate_json(result.stdout)
    assert [part.mark for part in plan.parts] == ["F1", "T1", "T2"]


def test_a_plan_lists_items_and_those_without_a_place(run, tmp_path):
    spec = json.loads(examples.text("small"))
    spec["drawers"][0]["items"] = [
        {"name": "dice", "shape": {"kind": "box", "size": [16, 16, 16]}, "count": 4},
        {"name": "ruler", "shape": {"kind": "box", "size": [310, 30, 1]}},
    ]
    path = tmp_path / "things.json"
    path.write_text(json.dumps(spec))
    result = run("plan", path)
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert any(line.split()[:2] == ["dice", "4"] for line in lines)
    assert any(line.startswith("Not placed: 1 x ruler: ") for line in lines)
    assert not any(line.startswith("Of what is printed") for line in lines)


def test_a_plan_reads_standard_input_and_can_be_saved(run, tmp_path):
    result = run("plan", "-", "--out", tmp_path / "kept", "--json", input=examples.text("small"))
    assert result.exit_code == 0
    assert json.loads((tmp_path / "kept" / "plan.json").read_text()) == json.loads(result.stdout)


def test_a_service_plans_the_same(run, small, url):
    assert run("plan", small, "--json", "--url", url).stdout == run("plan", small, "--json").stdout


@pytest.fixture
def wrong(tmp_path):
    document = examples.document("small")
    document["drawers"][0]["width"] = 5
    document["bogus"] = 1
    path = tmp_path / "wrong.json"
    path.write_text(json.dumps(document))
    return path


@pytest.mark.parametrize("command", ["plan", "submit"])
def test_an_invalid_spec_is_reported_field_by_field(run, wrong, url, command):
    result = run(command, wrong, "--url", url)
    assert result.exit_code == 2
    assert result.stdout == ""
    message = result.stderr
    assert "The spec has 2 problems." in message
    assert "/drawers/0/width: " in message
    assert "20 to 3000 mm" in message
    assert "/bogus: The field is not known." in message
    assert "Traceback" not in message


def test_an_invalid_spec_is_reported_alike_locally_and_by_a_service(run, wrong, url):
    assert run("plan", wrong).stderr == run("plan", wrong, "--url", url).stderr


def test_an_error_as_json_is_a_problem_document(run, wrong):
    result = run("plan", wrong, "--json")
    assert result.exit_code == 2
    problem = json.loads(result.stdout)
    assert problem["type"] == "/problems/invalid-spec"
    assert len(problem["errors"]) == 2


def test_a_tray_that_cannot_be_placed_is_one_problem(run):
    document = examples.document("small")
    document["drawers"][0]["trays"][0]["cells"] = [9, 9]
    result = run("plan", "-", input=json.dumps(document))
    assert result.exit_code == 2
    assert "/drawers/0/trays/0" in result.stderr


@pytest.mark.parametrize("command", ["plan", "submit"])
def test_a_missing_file_ends_with_code_2(run, command):
    result = run(command, "nowhere.json")
    assert result.exit_code == 2
    assert "nowhere.json" in result.stderr


def test_without_a_service_it_says_how_to_start_one(run, small, free_port):
    result = run("submit", small, "--url", f"http://127.0.0.1:{free_port}")
    assert result.exit_code == 3
    assert "drawerwright serve" in result.stderr
    result = run("submit", small, "--json", "--url", f"http://127.0.0.1:{free_port}")
    assert result.exit_code == 3
    assert "drawerwright serve" in json.loads(result.stdout)["remedy"]


def test_the_service_is_where_the_settings_say(run, small, free_port, monkeypatch):
    monkeypatch.setenv("DRAWERWRIGHT_PORT", str(free_port))
    result = run("submit", small)
    assert result.exit_code == 3
    assert f"http://127.0.0.1:{free_port}" in result.stderr


def test_an_invalid_setting_ends_with_code_2(run, small, monkeypatch):
    monkeypatch.setenv("DRAWERWRIGHT_PORT", "many")
    result = run("submit", small)
    assert result.exit_code == 2
    assert "DRAWERWRIGHT_PORT" in result.stderr


@pytest.mark.parametrize("address", ["not an address", "http://[bad", "ftp://127.0.0.1", "http://127.0.0.1:99999999"])
def test_an_invalid_url_ends_with_code_3(run, small, address):
    assert run("submit", small, "--url", address).exit_code == 3


@contextmanager
def _stranger(status, kind, body):
    class Stranger(BaseHTTPRequestHandler):
        def do_POST(self):
            self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(status)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_):
            pass

    with HTTPServer(("127.0.0.1", 0), Stranger) as server:
        thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        thread.join()


@pytest.mark.parametrize(
    ("status", "kind", "body"),
    [
        (200, "text/html", b"<html>"),
        (404, "text/html", b"<html>"),
        (302, "text/html", b""),
        (500, "application/problem+json", b"not json"),
        (422, "application/problem+json", b"[]"),
        (202, "application/json", b"{}"),
    ],
)
def test_another_server_at_the_address_ends_with_code_3(run, small, status, kind, body):
    with _stranger(status, kind, body) as address:
        result = run("submit", small, "--url", address)
    assert result.exit_code == 3
    assert "as a Drawerwright service would" in result.stderr


@pytest.fixture
def worker(records):
    """Return a context manager in which each job that waits is handed to a function, as a worker would take it."""

    @contextmanager
    def work(finish):
        stop = Event()

        def loop():
            while not stop.wait(0.02):
                for job in records.waiting(quiet_seconds=0.0, limit=10):
                    claim = records.claim(job, lease_seconds=60.0, attempts=3)
                    if claim is not None:
                        finish(claim)

        thread = Thread(target=loop)
        thread.start()
        yield
        stop.set()
        thread.join()

    return work


def test_a_failed_job_is_reported_with_its_part(run, small, url, records, worker):
    error = CheckFailed("T1 is not closed.", part="T1", value=3, limit="0 open edges")
    with worker(lambda claim: records.fail(claim, stored_problem(error))):
        result = run("submit", small, "--url", url)
        assert result.exit_code == 1
        assert "T1 is not closed." in result.stderr
        assert "0 open edges" in result.stderr
        result = run("submit", small, "--url", url, "--json")
    assert result.exit_code == 1
    assert json.loads(result.stdout)["part"] == "T1"


def test_a_cancelled_job_ends_with_code_1(run, small, url, records, worker):
    with worker(lambda claim: records.cancel(claim.job_id)):
        result = run("submit", small, "--url", url)
    assert result.exit_code == 1
    assert "cancelled" in result.stderr


def test_a_port_in_use_is_reported_before_anything_starts(run, tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as listener:
        result = run("serve", "--port", listener.getsockname()[1], "--data", tmp_path / "data")
    assert result.exit_code == 2
    assert "--port" in result.stderr
    assert not (tmp_path / "data").exists()


@pytest.mark.parametrize(
    ("host", "expected"),
    [("127.0.0.1", "127.0.0.1"), ("0.0.0.0", "127.0.0.1"), ("::", "[::1]"), ("::1", "[::1]"), ("bench", "bench")],  # noqa: S104 - compared
)
def test_the_default_url_is_where_serve_listens(tmp_path, host, expected):
    assert default_url(Settings.read(data_dir=tmp_path, host=host, port=99)) == f"http://{expected}:99"


def test_control_codes_do_not_reach_the_terminal(run):
    document = examples.document("small")
    document["drawers"][0]["trays"][0]["name"] = "[bold red]keys[/]"
    assert "[bold red]keys[/]" in run("plan", "-", input=json.dumps(document)).stdout
    document["drawers"][0]["trays"][0]["name"] = "\x1b]0;x\x07"
    assert "\x1b" not in run("plan", "-", input=json.dumps(document)).stderr


@pytest.mark.parametrize(
    ("host", "url", "wide"),
    [
        ("127.0.0.1", "http://127.0.0.1:8765", False),
        ("0.0.0.0", "http://127.0.0.1:8765", True),  # noqa: S104 - compared, not bound
        ("::", "http://[::1]:8765", True),
        ("::1", "http://[::1]:8765", False),
        ("192.0.2.7", "http://192.0.2.7:8765", False),
    ],
)
def test_a_wildcard_address_is_open_to_other_machines(host, url, wide, tmp_path):
    settings = Settings.read(data_dir=tmp_path, host=host, port=8765)
    assert (default_url(settings), is_open(settings)) == (url, wide)

"""``drawerwright keys`` as a person and as a program uses it."""

import json

import pytest
from typer.testing import CliRunner

from api.command import app
from api.command.keys import _Choice
from api.command.server import listening
from api.command.service.client import Client, ServiceRefused
from worker.jobs.common.principal import SCOPES
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService


@pytest.fixture
def run(monkeypatch, tmp_path):
    """Return a function that runs the command line on a record of its own."""
    monkeypatch.setenv("DRAWERWRIGHT_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.setenv("COLUMNS", "80")
    return lambda *arguments: CliRunner().invoke(app, ["keys", *map(str, arguments)])


def test_a_key_is_shown_once_listed_and_revoked(run):
    made = run("create", "shop kiosk", "--scope", "kiosk", "--scope", "read", "--expires", 30)
    assert made.exit_code == 0
    key = made.stdout.strip()
    assert key.startswith("dw_")
    assert "shown once" in made.stderr
    listed = run("list").stdout
    identity, secret = key.split("_")[1:]
    assert identity in listed
    assert "shop kiosk" in listed
    assert "active" in listed
    assert secret not in listed
    assert run("revoke", identity).exit_code == 0
    assert "revoked" in run("list").stdout


def test_keys_are_printed_as_json(run):
    made = json.loads(run("create", "x", "--scope", "submit", "--daily", 3, "--bytes", 0, "--json").stdout)
    assert made["quotas"] == {"daily": 3, "bytes": 0}
    assert made["scopes"] == ["submit"]
    (listed,) = json.loads(run("list", "--json").stdout)["keys"]
    assert {**listed, "key": made["key"]} == made
    revoked = json.loads(run("revoke", made["id"], "--json").stdout)
    assert (revoked["state"], revoked["revoked"] is None) == ("revoked", False)


@pytest.mark.parametrize(
    "arguments",
    [("create", "x"), ("create", "x", "--scope", "all"), ("create", " ", "--scope", "read"), ("revoke", "nobody"),
     ("create", "x", "--scope", "read", "--expires", 0), ("create", "x", "--scope", "read", "--waiting", -1)],
)  # fmt: skip
def test_invalid_arguments_end_with_code_2(run, arguments):
    assert run(*arguments).exit_code == 2


def test_the_choices_are_the_scopes():
    assert tuple(choice.value for choice in _Choice) == SCOPES


def test_the_client_sends_its_key_and_says_where_to_put_it(tmp_path, monkeypatch):
    settings = Settings.read(data_dir=tmp_path, port=0)
    with JobService.open(settings) as job_service:
        _, secret = job_service.keys.create("x", ["read"])
    with listening(settings) as url:
        with Client(url, secret) as client, pytest.raises(ServiceRefused) as refused:
            client.job("0" * 26)
        assert refused.value.problem["status"] == 404
        monkeypatch.chdir(tmp_path)
        (tmp_path / "x.json").write_text("{}")
        ended = CliRunner().invoke(app, ["submit", "x.json", "--url", url])
        assert ended.exit_code == 2
        assert "DRAWERWRIGHT_KEY" in ended.stderr
        monkeypatch.setenv("DRAWERWRIGHT_KEY", secret.get_secret_value())
        ended = CliRunner().invoke(app, ["submit", "x.json", "--url", url])
        assert ended.exit_code == 2
        assert "submit" in ended.stderr

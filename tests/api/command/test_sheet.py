"""``drawerwright sheet``."""

import json

from typer.testing import CliRunner

from api.command import app
from worker.output.drawings.reference_sheet import write_reference_sheet


def test_it_writes_the_sheet_without_a_service(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    run = CliRunner().invoke(app, ["sheet", "--json"])
    assert run.exit_code == 0
    assert json.loads(run.stdout)["file"] == "reference-sheet-a4-green.pdf"
    assert (tmp_path / "reference-sheet-a4-green.pdf").read_bytes() == write_reference_sheet("a4", "green")


def test_it_writes_to_standard_output():
    run = CliRunner().invoke(app, ["sheet", "--size", "letter", "--tint", "pink", "--out", "-"])
    assert run.stdout_bytes == write_reference_sheet("letter", "pink")


def test_a_folder_that_is_not_there_is_an_error(tmp_path):
    run = CliRunner().invoke(app, ["sheet", "--out", str(tmp_path / "no" / "sheet.pdf")])
    assert run.exit_code == 1
    assert "no/sheet.pdf" in run.stderr.replace("\n", "")


def test_another_size_is_refused():
    assert CliRunner().invoke(app, ["sheet", "--size", "a3"]).exit_code == 2

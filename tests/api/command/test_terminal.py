"""The command line on a terminal, on none, and in a shell that completes."""

import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from api.command import app
from api.openapi import examples

_ROOT = Path(__file__).parents[3]
_PROGRAM = [sys.executable, "-m", "api.command"]


@pytest.fixture
def environment(tmp_path):
    kept = {name: value for name, value in os.environ.items() if not name.startswith("DRAWERWRIGHT_")}
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS"):
        kept.pop(name, None)
    return {**kept, "PYTHONPATH": str(_ROOT), "XDG_CONFIG_HOME": str(tmp_path), "TERM": "xterm-256color"}


@pytest.fixture
def spec(tmp_path):
    document = examples.document("small")
    document["drawers"][0]["items"] = [{"name": "ruler", "shape": {"kind": "box", "size": [310, 30, 1]}}]
    path = tmp_path / "spec.json"
    path.write_text(json.dumps(document))
    return path


def _on_a_terminal(command, environment):
    """Return all that a command writes to a terminal."""
    ours, theirs = pty.openpty()
    with subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment) as process:
        os.close(theirs)
        output = b""
        try:
            while piece := os.read(ours, 65_536):
                output += piece
        except OSError:  # the other side is closed
            pass
        os.close(ours)
        assert process.wait(timeout=60) == 0
    return output.decode()


#: Select Graphic Rendition with a colour in it (ECMA-48, 8.3.117; 90 to 107 are common practice).
_COLOUR = re.compile(r"\x1b\[(?:[0-9]+;)*(?:3[0-8]|4[0-8]|9[0-7]|10[0-7])(?:;[0-9]+)*m")


def test_colours_appear_on_terminals_and_respect_no_color(environment, spec):
    command = [*_PROGRAM, "plan", str(spec)]
    assert _COLOUR.search(_on_a_terminal(command, environment))
    assert not _COLOUR.search(_on_a_terminal(command, {**environment, "NO_COLOR": "1"}))  # no-color.org
    piped = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    assert "Not placed: 1 x ruler" in piped.stdout
    assert "\x1b" not in piped.stdout + piped.stderr


def test_help_lists_the_exit_codes_without_control_codes():
    for words in (["--help"], ["submit", "--help"], ["mqtt", "--help"]):
        result = CliRunner().invoke(app, words)
        assert result.exit_code == 0
        assert "Exit codes" in result.stdout
        assert "\x1b" not in result.stdout


def test_version_is_printed():
    result = CliRunner().invoke(app, ["--version"])
    assert re.fullmatch(r"\d+\.\d+\.\d+\n", result.stdout)


def test_bash_completes_commands_options_and_states(environment, tmp_path):
    program = tmp_path / "drawerwright"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m api.command "$@"\n')
    program.chmod(0o755)
    surroundings = {**environment, "PATH": f"{tmp_path}:{environment['PATH']}"}
    script = """
eval "$(drawerwright --show-completion bash)"
try() {
  COMP_WORDS=(drawerwright "$@"); COMP_CWORD=$#; COMPREPLY=()
  _drawerwright_completion drawerwright
  echo "${COMPREPLY[*]}"
}
try sub
try submit --no
try jobs --state s
"""
    ended = subprocess.run(["bash", "-c", script], env=surroundings, capture_output=True, text=True, check=True)
    assert ended.stdout.split() == ["submit", "--no-watch", "succeeded"], ended


def test_a_closed_pipe_is_no_error(environment):
    script = f"{sys.executable} -m api.command catalogue | head -n 1"
    ended = subprocess.run(["bash", "-c", script], env=environment, capture_output=True, text=True, check=True)
    assert ended.stderr == ""

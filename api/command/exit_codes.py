"""How a command ends: its exit code, and what is said."""

import json
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from http import HTTPStatus
from typing import Any, Final

import typer

from api.command.service.client import ServiceRefused, ServiceUnreachable
from api.command.service.downloads import DownloadDamaged
from api.command.terminal.display import note, show_problem
from api.http.errors import ParameterRefused
from worker.jobs.common.errors import FileNotInJob, SettingsError
from worker.spec.errors import DrawerwrightError, PrintRefused, SpecError

__all__ = ["FAILED", "NO_SERVICE", "WRONG", "ending", "print_json", "print_line"]

#: The job failed, or what it made could not be kept.
FAILED: Final = 1
#: Something in the command or the spec is wrong.
WRONG: Final = 2
#: No service.
NO_SERVICE: Final = 3


@contextmanager
def ending(*, machine: bool) -> Iterator[None]:
    """Turn errors into words and exit codes; for a machine the words are a problem document on standard output."""
    try:
        yield
    except ServiceRefused as refused:
        problem = refused.problem
        if problem.get("status") == HTTPStatus.UNAUTHORIZED:
            problem = {**problem, "remedy": "Put a key of this service into the variable DRAWERWRIGHT_KEY."}
        _tell(problem, machine=machine)
        code = WRONG if refused.callers_fault else FAILED
    except ServiceUnreachable as unreachable:
        problem = {"title": "No service.", "detail": str(unreachable), "remedy": "Start one: drawerwright serve"}
        _tell(problem, machine=machine)
        code = NO_SERVICE
    except (FileNotInJob, SpecError, SettingsError, ParameterRefused, PrintRefused) as error:
        _tell(error.problem(), machine=machine)
        code = WRONG
    except DrawerwrightError as error:
        _tell(error.problem(), machine=machine)
        code = FAILED
    except BrokenPipeError:  # who reads what we print has enough
        raise
    except (DownloadDamaged, OSError) as error:
        _tell({"title": "The files could not be kept.", "detail": str(error)}, machine=machine)
        code = FAILED
    else:
        return
    raise typer.Exit(code)


def print_json(document: Mapping[str, Any]) -> None:
    """Print for a machine."""
    sys.stdout.write(json.dumps(document, indent=2, ensure_ascii=False) + "\n")


def print_line(document: Mapping[str, Any]) -> None:
    """Print for a machine that reads on while we print: a document a line."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False) + "\n")
    sys.stdout.flush()


def _tell(problem: Mapping[str, Any], *, machine: bool) -> None:
    if machine:
        print_json(problem)
    else:
        show_problem(problem)


def failed(problem: Mapping[str, Any], *, machine: bool) -> typer.Exit:
    """Tell why a job failed; return what ends the command."""
    _tell(problem, machine=machine)
    note("The job failed.", "bold red")
    return typer.Exit(FAILED)

"""Exit codes of the commands, and the mapping of errors to problem output."""

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
from api.http.problems.errors import ParameterRefused
from worker.jobs.common.errors import FileNotInJob, SettingsError
from worker.spec.errors import DrawerwrightError, PrintRefused, SpecError

__all__ = ["FAILED", "NO_SERVICE", "WRONG", "ending", "print_json", "print_line"]

#: The job failed, or its files could not be saved.
FAILED: Final = 1
#: The command, the settings or the spec is invalid.
WRONG: Final = 2
#: No service answered.
NO_SERVICE: Final = 3


@contextmanager
def ending(*, machine: bool) -> Iterator[None]:
    """Turn errors into a message and an exit code.

    With ``machine`` the message is a problem document (RFC 9457) on standard output; without, it is text on standard
    error.
    """
    try:
        yield
    except ServiceRefused as refused:
        problem = refused.problem
        if problem.get("status") == HTTPStatus.UNAUTHORIZED:
            problem = {**problem, "remedy": "Set DRAWERWRIGHT_KEY to a key of this service."}
        _report(problem, machine=machine)
        code = WRONG if refused.is_client_error else FAILED
    except ServiceUnreachable as unreachable:
        problem = {
            "title": "No service answered",
            "detail": str(unreachable),
            "remedy": "Start one with `drawerwright serve`, or give its address with --url.",
        }
        _report(problem, machine=machine)
        code = NO_SERVICE
    except (FileNotInJob, SpecError, SettingsError, ParameterRefused, PrintRefused) as error:
        _report(error.problem(), machine=machine)
        code = WRONG
    except DrawerwrightError as error:
        _report(error.problem(), machine=machine)
        code = FAILED
    except BrokenPipeError:  # the reader of standard output has closed it
        raise
    except (DownloadDamaged, OSError) as error:
        _report({"title": "The files could not be saved", "detail": str(error)}, machine=machine)
        code = FAILED
    else:
        return
    raise typer.Exit(code)


def print_json(document: Mapping[str, Any]) -> None:
    """Print a JSON document, indented, on standard output."""
    sys.stdout.write(json.dumps(document, indent=2, ensure_ascii=False) + "\n")


def print_line(document: Mapping[str, Any]) -> None:
    """Print a JSON document on one line of standard output and flush it."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False) + "\n")
    sys.stdout.flush()


def _report(problem: Mapping[str, Any], *, machine: bool) -> None:
    if machine:
        print_json(problem)
    else:
        show_problem(problem)


def failed(problem: Mapping[str, Any], *, machine: bool) -> typer.Exit:
    """Show why a job failed; return the exception that ends the command with code 1."""
    _report(problem, machine=machine)
    note("The job failed.", "bold red")
    return typer.Exit(FAILED)

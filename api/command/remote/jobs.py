"""``drawerwright jobs``, ``job``, ``cancel``, ``retry`` and ``remove``: list, show, cancel, retry and delete jobs."""

import sys
from enum import Enum
from itertools import islice
from typing import TYPE_CHECKING, Annotated, Final

import typer

from api.command.exit_codes import FAILED, WRONG, ending, print_json, print_line
from api.command.options import Job, Machine, Url, Watch, opened
from api.command.remote.job_run import left_running
from api.command.service.client import Client
from api.command.terminal.display import note, watching
from api.command.terminal.job_tables import print_job_line, show_job, show_jobs
from worker.jobs.records.models import ENDED

if TYPE_CHECKING:  # the routes come along with it
    from collections.abc import Callable

    from api.documents.jobs import JobDocument

__all__ = ["cancel", "job", "jobs", "remove", "retry"]

#: Most jobs that one command lists.
_MOST: Final = 10_000


class _State(Enum):
    """Job states as choices of an option."""

    QUEUED = "queued"
    RUNNING = "running"
    SUCCEEDED = "succeeded"
    FAILED = "failed"
    CANCELLED = "cancelled"


def jobs(
    *,
    state: Annotated[list[_State] | None, typer.Option(help="Show only jobs in this state; repeatable.")] = None,
    name: Annotated[
        str | None, typer.Option(help="Show only jobs with this text in their name.", show_default=False)
    ] = None,
    limit: Annotated[int, typer.Option(min=1, max=_MOST, help="Show at most this many jobs.")] = 20,
    watch: Watch = False,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """List jobs, newest first."""
    with ending(machine=machine), opened(url) as client:
        listed = list(islice(client.jobs([choice.value for choice in state or ()], name), limit))
        if watch:
            _watch(client, listed, machine=machine)
        elif machine:
            print_json({"jobs": [job.model_dump(mode="json") for job in listed]})
        else:
            show_jobs(listed)


def job(job: Job, *, watch: Watch = False, url: Url = None, machine: Machine = False) -> None:
    """Show the state of a job and, if it failed, the reason. The exit code is 1 if it failed or was cancelled."""
    with ending(machine=machine), opened(url) as client:
        document = client.job(job)
        if watch and document.state not in ENDED:
            with left_running(job, f"drawerwright job {job} --watch"), watching(quiet=machine) as watcher:
                document = client.follow(document, watcher.job)
        if machine:
            print_json(document.model_dump(mode="json"))
        else:
            show_job(document)
        if document.state in ("failed", "cancelled"):
            raise typer.Exit(FAILED)


def cancel(job: Job, *, url: Url = None, machine: Machine = False) -> None:
    """Cancel a queued or running job."""
    with ending(machine=machine), opened(url) as client:
        _show_state(client.cancel(job), machine=machine)


def retry(job: Job, *, url: Url = None, machine: Machine = False) -> None:
    """Queue a failed job again, under the same id."""
    with ending(machine=machine), opened(url) as client:
        _show_state(client.retry(job), machine=machine)


def remove(
    job: Job,
    *,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Skip the confirmation prompt.")] = False,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """Delete a finished job permanently, with its files and its print records."""
    with ending(machine=machine), opened(url) as client:
        document = client.job(job)
        if not yes and not sys.stdin.isatty():
            note("Confirmation requires a terminal. Add --yes to delete the job.", "bold red")
            raise typer.Exit(WRONG)
        if not yes and not typer.confirm(f"Delete job {document.id} ({document.name}) and its files?", err=True):
            raise typer.Exit(WRONG)
        client.remove(job)
        if machine:
            print_json({"id": document.id, "removed": True})
        else:
            note(f"Deleted job {document.id}.")


def _watch(client: Client, listed: "list[JobDocument]", *, machine: bool) -> None:
    """Print a line for each job and for each change of its state, until all have ended."""
    states: dict[str, str] = {}

    def report(job: "JobDocument") -> None:
        if states.get(job.id) == job.state:
            return
        states[job.id] = job.state
        if machine:
            print_line(job.model_dump(mode="json"))
        else:
            print_job_line(job)

    for job in listed:
        report(job)
    waiting = [job for job in reversed(listed) if job.state not in ENDED]
    if not waiting:
        return
    what = waiting[0].id if len(waiting) == 1 else f"Each of {len(waiting)} jobs"
    with left_running(what, "drawerwright jobs --watch"):
        for job in waiting:
            with watching(quiet=machine) as watcher:

                def update(now: "JobDocument", show: "Callable[[JobDocument], None]" = watcher.job) -> None:
                    show(now)
                    report(now)

                client.follow(job, update)


def _show_state(document: "JobDocument", *, machine: bool) -> None:
    if machine:
        print_json(document.model_dump(mode="json"))
    else:
        note(f"Job {document.id} ({document.name}) is {document.state}.")

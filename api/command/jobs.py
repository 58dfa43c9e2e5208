"""``drawerwright jobs``, ``job``, ``cancel`` and ``remove``: the jobs of a service."""

import sys
from enum import Enum
from itertools import islice
from typing import TYPE_CHECKING, Annotated, Final

import typer

from api.command.exit_codes import FAILED, WRONG, ending, print_json, print_line
from api.command.job_run import left_running
from api.command.options import Job, Machine, Url, Watch, opened
from api.command.service.client import Client
from api.command.terminal.display import note, watching
from api.command.terminal.job_tables import show_job, show_jobs, tell_job
from worker.jobs.records.models import ENDED

if TYPE_CHECKING:  # the routes come along with it
    from collections.abc import Callable

    from api.documents.jobs import JobDocument

__all__ = ["cancel", "job", "jobs", "remove"]

#: Jobs that are looked at for those asked for.
_MOST: Final = 10_000


class _State(Enum):
    """The states, as the command line's parser takes them."""

    QUEUED = "queued"
    RUNNING = "running"
    SUCCEEDED = "succeeded"
    FAILED = "failed"
    CANCELLED = "cancelled"


def jobs(
    *,
    state: Annotated[list[_State] | None, typer.Option(help="Only in this state; give it again for more.")] = None,
    name: Annotated[str | None, typer.Option(help="Only with this in their name.", show_default=False)] = None,
    limit: Annotated[int, typer.Option(min=1, max=_MOST, help="How many at most.")] = 20,
    watch: Watch = False,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """List jobs, newest first."""
    with ending(machine=machine), opened(url) as client:
        found = list(islice(client.jobs([one.value for one in state or ()], name), limit))
        if watch:
            _watch(client, found, machine=machine)
        elif machine:
            print_json({"jobs": [one.model_dump(mode="json") for one in found]})
        else:
            show_jobs(found)


def job(job: Job, *, watch: Watch = False, url: Url = None, machine: Machine = False) -> None:
    """Show a job: its state, and why it failed. Ends with 1 when it has failed or was cancelled."""
    with ending(machine=machine), opened(url) as client:
        found = client.job(job)
        if watch and found.state not in ENDED:
            with left_running(job, f"drawerwright job {job} --watch"), watching(quiet=machine) as watcher:
                found = client.follow(found, watcher.job)
        if machine:
            print_json(found.model_dump(mode="json"))
        else:
            show_job(found)
        if found.state in ("failed", "cancelled"):
            raise typer.Exit(FAILED)


def cancel(job: Job, *, url: Url = None, machine: Machine = False) -> None:
    """Cancel a job that has not ended."""
    with ending(machine=machine), opened(url) as client:
        found = client.cancel(job)
        if machine:
            print_json(found.model_dump(mode="json"))
        else:
            note(f"{found.id} ({found.name}) is {found.state}.")


def remove(
    job: Job,
    *,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Do not ask first.")] = False,
    url: Url = None,
    machine: Machine = False,
) -> None:
    """Remove a job that has ended, with all its files and its record of prints, for ever."""
    with ending(machine=machine), opened(url) as client:
        found = client.job(job)
        if not yes and not sys.stdin.isatty():
            note("Nobody is there to be asked; say --yes to remove it.", "bold red")
            raise typer.Exit(WRONG)
        if not yes and not typer.confirm(f"Remove {found.id} ({found.name}) with all its files?", err=True):
            raise typer.Exit(WRONG)
        client.remove(job)
        if machine:
            print_json({"id": found.id, "removed": True})
        else:
            note(f"{found.id} is removed.")


def _watch(client: Client, found: "list[JobDocument]", *, machine: bool) -> None:
    """Print a line for each job, and one for each change of its state, until all have ended."""
    told: dict[str, str] = {}

    def tell(one: "JobDocument") -> None:
        if told.get(one.id) == one.state:
            return
        told[one.id] = one.state
        if machine:
            print_line(one.model_dump(mode="json"))
        else:
            tell_job(one)

    for one in found:
        tell(one)
    waiting = [one for one in reversed(found) if one.state not in ENDED]
    if not waiting:
        return
    what = waiting[0].id if len(waiting) == 1 else f"Each of {len(waiting)} jobs"
    with left_running(what, "drawerwright jobs --watch"):
        for one in waiting:
            with watching(quiet=machine) as watcher:

                def look(now: "JobDocument", show: "Callable[[JobDocument], None]" = watcher.job) -> None:
                    show(now)
                    tell(now)

                client.follow(one, look)

"""Tables and lines about jobs on the terminal."""

from typing import TYPE_CHECKING

from api.command.terminal.display import show_problem
from api.command.terminal.tables import say, table

if TYPE_CHECKING:  # the routes come along with it
    from collections.abc import Sequence

    from api.documents.jobs import JobDocument

__all__ = ["print_job_line", "show_job", "show_jobs"]


def show_jobs(jobs: "Sequence[JobDocument]") -> None:
    """Print a table of jobs."""
    if not jobs:
        say("No jobs.")
        return
    rows = [(job.id, job.state, _far(job), f"{job.created:%Y-%m-%d %H:%M}", job.name) for job in jobs]
    table(("job", "state", "done", "created (UTC)", "name"), rows, whole=("job", "state", "done", "created (UTC)"))


def print_job_line(job: "JobDocument") -> None:
    """Print a job's id, state and name on one line."""
    say(f"{job.id}  {job.state:<9}  {job.name}")


def show_job(job: "JobDocument") -> None:
    """Print a job's state, times and attempts and, if it failed, the reason."""
    say(f"{job.id}  {job.name}")
    done = f", {job.progress.done} of {job.progress.total} steps" if job.progress.total else ""
    now = f", now: {job.progress.now}" if job.state == "running" and job.progress.now else ""
    say(f"{job.state}{done}{now}")
    moments = (("created", job.created), ("started", job.started), ("finished", job.finished))
    say(", ".join(f"{word} {moment:%Y-%m-%d %H:%M:%S}" for word, moment in moments if moment is not None) + " (UTC)")
    if job.attempts > 1:
        say(f"attempts: {job.attempts}")
    if job.problem is not None:
        show_problem(job.problem.model_dump(mode="json"))
    if job.links.bundle is not None:
        say(f"To download the files: drawerwright fetch {job.id}")


def _far(job: "JobDocument") -> str:
    return f"{job.progress.done}/{job.progress.total}" if job.progress.total else ""

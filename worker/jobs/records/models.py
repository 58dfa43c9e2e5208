"""Jobs, their progress and their files, as the database stores them."""

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal, TypeAlias

JobState: TypeAlias = Literal["queued", "running", "succeeded", "failed", "cancelled"]

#: Final states of a job.
ENDED: Final = frozenset({"succeeded", "failed", "cancelled"})

#: Names of the two files of every job that succeeded.
MANIFEST_NAME: Final = "manifest.json"
BUNDLE_NAME: Final = "bundle.zip"


def run_file_name(number: int) -> str:
    """Return the name of a run's file."""
    return f"run-{number:02d}.3mf"


def sheet_file_name(number: int) -> str:
    """Return the name of a run's sheet."""
    return f"run-{number:02d}.pdf"


def entry_folder(number: int, name: str | None) -> str:
    """Return the folder of a batch's spec, by its index and name, in the archive of the batch."""
    slug = re.sub(r"[^A-Za-z0-9]+", "-", name or "", flags=re.ASCII).strip("-")[:40] or "job"
    return f"{number + 1:03d}-{slug}"


@dataclass(frozen=True, slots=True)
class Progress:
    """Progress of a job: completed steps, their total (0 before layout), and the current step."""

    done: int = 0
    total: int = 0
    now: str | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """One job. Times are UTC. ``problem`` is the problem document of a job that failed."""

    id: str
    name: str
    state: JobState
    created: datetime
    updated: datetime
    started: datetime | None
    finished: datetime | None
    attempts: int
    progress: Progress
    problem: dict[str, Any] | None
    #: Increases with every change.
    revision: int = 1
    notes: str | None = None
    tags: tuple[str, ...] = ()

    @property
    def ended(self) -> bool:
        """Whether the job is in a final state."""
        return self.state in ENDED


@dataclass(frozen=True, slots=True)
class StoredFile:
    """A stored file: its name in the job, and its key in the object store."""

    name: str
    media_type: str
    bytes: int
    sha256: str
    key: str

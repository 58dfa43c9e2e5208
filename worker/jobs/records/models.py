"""A job and its files as the record has them."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal, TypeAlias

JobState: TypeAlias = Literal["queued", "running", "succeeded", "failed", "cancelled"]

#: States that a job does not leave.
ENDED: Final = frozenset({"succeeded", "failed", "cancelled"})

#: Names of the two files that every job that succeeded has.
MANIFEST_NAME: Final = "manifest.json"
BUNDLE_NAME: Final = "bundle.zip"


def run_file_name(number: int) -> str:
    """Return the name of a run's file."""
    return f"run-{number:02d}.3mf"


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a job is: steps done of a total (0 before it is known), and what it is at."""

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
    #: Grows with every change; of two states of a job the one with the greater is the later.
    revision: int = 1

    @property
    def ended(self) -> bool:
        """Whether the job is in a state that it does not leave."""
        return self.state in ENDED


@dataclass(frozen=True, slots=True)
class StoredFile:
    """One file: its name in the job, and the key under which the store has its bytes."""

    name: str
    media_type: str
    bytes: int
    sha256: str
    key: str

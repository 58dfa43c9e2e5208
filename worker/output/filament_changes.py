"""Changes of filament for the lettering of a run, in words."""

from collections.abc import Iterable, Iterator
from datetime import datetime

from worker.spec.manifest import PauseEntry, RunEntry, StepEntry

__all__ = ["drawer_pauses", "filament_changes", "pause_text", "timed_pauses"]


def filament_changes(run: RunEntry, step: StepEntry | None = None) -> list[str]:
    """Return what the lettering of a run in a second filament takes, a line each; none without one.

    With the run's step in a schedule, the time of each pause is given.
    """
    lettering = run.lettering
    if lettering is None:
        return []
    filament = _filament(lettering.material, lettering.colour)
    times = f"{lettering.changes} {'change' if lettering.changes == 1 else 'changes'} of filament"
    total = (
        f"Lettering in {filament}: {lettering.grams:.1f} g, {times} of {lettering.seconds / 60.0:.0f} min in all, "
        f"which waste {lettering.waste:.1f} g."
    )
    return [total, *(pause_text(pause, at) for pause, at in timed_pauses(run, step))]


def timed_pauses(run: RunEntry, step: StepEntry | None) -> Iterator[tuple[PauseEntry, datetime | None]]:
    """Yield the pauses of a run, each with its estimated time if it is scheduled."""
    moments = iter(() if step is None else step.pauses)
    for pause in () if run.lettering is None else run.lettering.pauses:
        yield pause, next(moments, None) if pause.seconds else None


def drawer_pauses(runs: Iterable[RunEntry], drawer: str) -> Iterator[str]:
    """Yield what to do at the pauses of the runs that have pieces for a drawer."""
    for run in runs:
        if any(piece.drawer == drawer for piece in run.pieces):
            yield from (f"Run {run.number}: {pause_text(pause)}" for pause, _ in timed_pauses(run, None))


def pause_text(pause: PauseEntry, at: datetime | None = None) -> str:
    """Return what to do at a pause."""
    filament = _filament(pause.material, pause.colour)
    if pause.height == 0.0:
        return f"Before the start: load {filament}, for the lettering."
    layers = f"{pause.layers} {'layer' if pause.layers == 1 else 'layers'}"
    when = "" if at is None else f", at about {at:%H:%M on %a}"
    return f"{pause.height:g} mm, after {layers}{when}: let the printer pause, and change to {filament}."


def _filament(material: str, colour: str | None) -> str:
    return f"{material} {colour or 'of the second colour'}"

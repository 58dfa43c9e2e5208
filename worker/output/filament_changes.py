"""Changes of filament for the lettering of a run, in words."""

from worker.spec.manifest import PauseEntry, RunEntry

__all__ = ["filament_changes", "pause_text"]


def filament_changes(run: RunEntry) -> list[str]:
    """Return what the lettering of a run in a second filament takes, a line each; none without one."""
    lettering = run.lettering
    if lettering is None:
        return []
    filament = _filament(lettering.material, lettering.colour)
    times = f"{lettering.changes} {'change' if lettering.changes == 1 else 'changes'} of filament"
    total = (
        f"Lettering in {filament}: {lettering.grams:.1f} g, {times} of {lettering.seconds / 60.0:.0f} min in all, "
        f"which waste {lettering.waste:.1f} g."
    )
    return [total, *(pause_text(pause) for pause in lettering.pauses)]


def pause_text(pause: PauseEntry) -> str:
    """Return what to do at a pause."""
    filament = _filament(pause.material, pause.colour)
    if pause.height == 0.0:
        return f"Before the start: load {filament}, for the lettering."
    layers = f"{pause.layers} {'layer' if pause.layers == 1 else 'layers'}"
    return f"{pause.height:g} mm, after {layers}: let the printer pause, and change to {filament}."


def _filament(material: str, colour: str | None) -> str:
    return f"{material} {colour or 'of the second colour'}"

"""The coupon's gate: no part is scheduled before the coupon has shown that its clearance is right.

And the spec of the job that makes the parts anew where it is not.
"""

from collections import Counter
from collections.abc import Mapping
from typing import Any, Final, TypeAlias

import orjson

from worker.printing.print_order import Stage, stage_of_mark
from worker.printing.progress.print_state import PrintState, marks_of
from worker.spec import Spec
from worker.spec.manifest import RunEntry
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Gate", "gate_of", "refit_needed", "refit_spec"]

#: Why runs wait, by the names of the printers that they are packed for.
Gate: TypeAlias = Mapping[tuple[str, ...], str]

_UNREAD: Final = (
    "It waits for the coupon: record the clearance that it shows, and this run is scheduled. Set "
    "schedule.wait_for_coupon to false to print without waiting."
)


def gate_of(spec: Spec, runs: tuple[RunEntry, ...], state: PrintState | None) -> Gate:
    """Return why the runs of printers wait, but for those of coupons; nothing for printers whose runs need not.

    Each class of printers that are alike waits for its own coupon. Where one of them showed another clearance, all
    wait: the parts are made anew.

    Args:
        spec: the job.
        runs: all that it planned.
        state: its progress; None when nothing is printed.
    """
    if spec.schedule is None or not spec.schedule.wait_for_coupon or not _has_coupon(runs):
        return {}
    every = dict.fromkeys(run.printers for run in runs)
    if state is not None and refit_needed(spec, state):
        reason = (
            f"It is made with a clearance of {spec.grid.clearance:g} mm, and the coupon shows {state.clearance:g} mm. "
            "Submit the job's refit spec, which has that clearance."
        )
        return dict.fromkeys(every, reason)
    tested = {run.printers for run in runs if _has_coupon((run,))}
    # printers that print no coupon of their own wait for all
    read = set() if state is None else {printers for printers in tested if state.reading(printers) is not None}
    return {printers: _UNREAD for printers in every if printers not in read and (printers in tested or read != tested)}


def refit_needed(spec: Spec, state: PrintState) -> bool:
    """Return whether a coupon showed another clearance than the parts are made with."""
    return any(abs(clearance - spec.grid.clearance) > LENGTH_EPSILON for clearance in state.clearances.values())


def refit_spec(spec: Spec, state: PrintState) -> Spec:
    """Return the spec of the job with the clearance that the coupon showed, the greatest of several, and without one.

    Where tiles or trays are printed already, the profile of the sockets stays as it was: printed tiles then fit the new
    trays.

    Raises:
        ValueError: when no clearance was read.
        ValidationError: pydantic's, when the joint cannot have this clearance.
    """
    if state.clearance is None:
        raise ValueError("No clearance was read from the coupon.")
    document: dict[str, Any] = orjson.loads(spec.to_json())
    grid = {**document.get("grid", {}), "clearance": state.clearance}
    if any(stage_of_mark(mark) is not Stage.TEST_PRINTS for mark in Counter(state.printed)):
        grid["joint"] = [list(level) for level in spec.joint().profile]
    return Spec.model_validate(dict(document, grid=grid, coupon=False))


def _has_coupon(runs: tuple[RunEntry, ...]) -> bool:
    return any(stage_of_mark(mark) is Stage.TEST_PRINTS for mark in marks_of(runs))

"""The coupon's gate: no part is scheduled before the coupon has shown that its clearance is right.

And the spec of the job that makes the parts anew where it is not.
"""

from collections import Counter
from typing import Any, Final

import orjson

from worker.printing.print_order import Stage, stage_of_mark
from worker.printing.progress.print_state import PrintState, marks_of
from worker.spec import Spec
from worker.spec.manifest import RunEntry
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["gate_of", "refit_needed", "refit_spec"]

_UNREAD: Final = (
    "It waits for the coupon: record the clearance that it shows, and this run is scheduled. Set "
    "schedule.wait_for_coupon to false to print without waiting."
)


def gate_of(spec: Spec, runs: tuple[RunEntry, ...], state: PrintState | None) -> str | None:
    """Return why all runs but the coupon's wait; None when they need not.

    Args:
        spec: the job.
        runs: all that it planned.
        state: its progress; None when nothing is printed.
    """
    if spec.schedule is None or not spec.schedule.wait_for_coupon or not _has_coupon(runs):
        return None
    if state is None or state.clearance is None:
        return _UNREAD
    if refit_needed(spec, state):
        return (
            f"It is made with a clearance of {spec.grid.clearance:g} mm, and the coupon shows {state.clearance:g} mm. "
            "Submit the job's refit spec, which has that clearance."
        )
    return None


def refit_needed(spec: Spec, state: PrintState) -> bool:
    """Return whether the coupon showed another clearance than the parts are made with."""
    return state.clearance is not None and abs(state.clearance - spec.grid.clearance) > LENGTH_EPSILON


def refit_spec(spec: Spec, state: PrintState) -> Spec:
    """Return the spec of the job with the clearance that the coupon showed, and without a coupon.

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

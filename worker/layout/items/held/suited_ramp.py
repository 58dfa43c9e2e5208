"""Suited ramp: a tray of the list with what it holds and, where its spec leaves the finger ramp open, the one for that.

That is the ramp of a narrow tray if more things fit with it, and that of loose things if all lie loose.
"""

from collections.abc import Callable, Sequence
from contextlib import suppress

from worker.layout.items.held.held_trays import HeldTray, Holding, fill_tray
from worker.layout.tray.made_tray import MadeTray
from worker.spec import Spec
from worker.spec.drawer.tray import NO_RAMP, FingerRamp, Tray
from worker.spec.errors import TrayError

__all__ = ["held_tray", "missing"]


def held_tray(  # noqa: PLR0917 - what a tray and its place say
    spec: Spec, drawer: int, tray: Tray, holdings: Sequence[Holding], height: float, make: Callable[[Tray], MadeTray]
) -> HeldTray:
    """Return a tray with what it holds.

    Args:
        spec: the job.
        drawer: index of the tray's drawer.
        tray: the tray.
        holdings: what it is said to hold.
        height: how high its things may reach above its feet, mm.
        make: makes the part of a tray.

    Raises:
        TrayError: if the tray cannot be made.
    """

    def held(ramp: FingerRamp | None) -> HeldTray:
        ramped = tray.model_copy(update={"finger_ramp": ramp})
        made = make(ramped)
        filled = fill_tray(spec, drawer, ramped, holdings, made.whole, height)
        if filled.tray.dividers == tray.dividers:
            return filled
        with suppress(TrayError):  # stops leave no room for a splice or a text
            if make(filled.tray).whole.posts == made.whole.posts:
                return filled
        return fill_tray(spec, drawer, ramped, holdings, made.whole, height, stops=False)

    if tray.finger_ramp is not None:
        return held(tray.finger_ramp)
    best = held(NO_RAMP)
    if best.unplaced:
        best = min(best, held(None), key=missing)
    if best.ramp is not None:
        with suppress(TrayError):  # there is no room for it before a label ledge
            best = min(held(FingerRamp(radius=best.ramp)), best, key=missing)
    return best


def missing(held: HeldTray) -> int:
    """Return how many things a tray is said to hold and has no room for."""
    return sum(lack.count for lack in held.unplaced)

"""Trays in pieces as an answer to a small bed: whether one would serve, and else the rule that forbids it."""

from collections.abc import Sequence
from dataclasses import replace
from math import ceil

from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.tray_sizing import TraySizing, without_bed
from worker.layout.tray.joints.cut_sizes import MOST_PIECES
from worker.spec.items.item import Item

__all__ = ["why_not_in_pieces"]


def why_not_in_pieces(item: Item, sites: Sequence[Site], sizing: TraySizing) -> str | None:
    """Return why no tray in pieces holds what the bed keeps out, as a sentence; None where no rule forbids it.

    Args:
        item: the item.
        sites: the drawers that it might have gone into.
        sizing: the trays sized so far.
    """
    if item.storage == "pocket":
        return "A tray with a pocket for each cannot be cut."
    reasons = [reason for site in sites if (reason := _reason(item, site, sizing)) is not None]
    return min(reasons, default=(0, None))[1]


def _reason(item: Item, site: Site, sizing: TraySizing) -> tuple[int, str] | None:
    """Return the rule that forbids a tray in pieces in one drawer, after its rank."""
    joining = replace(site, joints=True)
    if sizing.trays(item, joining):
        return (0, "No tray may be cut, as `joints` is false.") if not site.joints else None
    trays = sizing.trays(item, without_bed(site))
    if not trays:
        return None
    least = ceil(joining.least_joined_height)
    if least > site.ground.limit:
        return 3, f"A tray in pieces is at least {least} mm high, more than the drawer leaves."
    if not any(tray.halves in joining.cuts for tray in trays):
        return 2, f"It would take more than {MOST_PIECES} pieces."
    if all(tray.height < least for tray in trays):
        return 1, f"A tray in pieces is at least {least} mm high, too high for fingers to reach in."
    return 1, "No cut would be clear of its dividers and labels."

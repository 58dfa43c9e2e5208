"""The cuts of panels: where a panel is divided into strips that fit the bed, clear of crossings and shoes."""

import itertools
from collections.abc import Callable, Sequence
from math import ceil
from typing import Final

from worker.layout.floor.print_bed import Bed
from worker.layout.panels.lines import PanelLine
from worker.layout.panels.profile import CHEEK, CLIP, CLIP_WIDTHS, FOOT, TAB_REACH
from worker.layout.panels.sockets import FloorSockets
from worker.layout.tray.interior import on_grid
from worker.spec.errors import PanelError
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["cuts_of", "longest_strip"]

#: Plastic between a splice's tabs and a slot or the end of a strip, mm.
_FROM_SLOT: Final = 6.0
#: Distance of a clip from the middle of a slot beside it, without half the other panel, mm: the notch, the chamfer at
#: the slot's mouth, and 2 mm of plastic between them.
_FROM_CLIP: Final = 4.0
#: Distance of a clip or a splice's tabs from a foot, mm.
_FROM_FOOT: Final = 1.0
#: Least length of a strip between two cuts, mm: the clips below both stand apart.
_SHORTEST: Final = CLIP + _FROM_FOOT
#: Step in which a cut is moved, mm; the most strips beyond the fewest that are tried.
_STEP: Final = 0.5
_MORE: Final = 4


def longest_strip(bed: Bed, height: float) -> float:
    """Return the length in mm of the longest strip of this height that fits the bed; 0 if none does."""
    return max((across for across, deep in bed.rooms if deep >= height - LENGTH_EPSILON), default=0.0)


def cuts_of(  # noqa: PLR0917 - a panel, and what is in the way
    line: PanelLine, start: float, end: float, bed: Bed, thickest: float, sockets: FloorSockets | None = None
) -> tuple[float, ...]:
    """Return the positions along a panel at which it is cut, in order, mm; empty if one strip is enough.

    The fewest strips are taken, as equal as possible; a cut is moved to where there is room for a clip, or else for the
    tabs alone.

    Args:
        line: the panel.
        start: where its first strip begins, mm.
        end: where its last strip ends, mm.
        bed: the print bed.
        thickest: thickness of the thickest panel that crosses it, mm.
        sockets: those of the floor that it stands on, whose walls carry the clips; None on the bare bottom.

    Raises:
        PanelError: if the strips do not fit the bed.
    """
    longest = longest_strip(bed, line.height)
    if end - start <= longest + LENGTH_EPSILON:
        return ()

    def rests(low: float, high: float) -> bool:
        return sockets is None or sockets.carries(line.across(line.thickness / 2.0, low, high))

    if longest > 0.0:
        fewest = ceil((end - start) / longest)
        for half, clear in ((CLIP / 2.0, _FROM_CLIP), (TAB_REACH, _FROM_SLOT)):
            shut = _shut(line, start, end, half + clear + thickest / 2.0, half + FOOT / 2.0 + _FROM_FOOT)
            if sockets is not None and half == CLIP / 2.0:
                shut = _not_carried(line, sockets, shut)
            for count in range(fewest, fewest + _MORE):
                cuts = _spread(start, end, count, longest - TAB_REACH, shut, rests)
                if cuts is not None:
                    return cuts
    deepest = max((deep for _, deep in bed.rooms), default=0.0)
    raise PanelError(
        f"The strips of {line.name} do not fit the bed.",
        pointer=f"{line.pointer}/height" if longest <= 0.0 else line.pointer,
        value=line.height if longest <= 0.0 else on_grid(end - start),
        limit=f"at most {deepest:g} mm high" if longest <= 0.0 else
        f"strips of at most {longest:g} mm, cut where no other panel crosses",
        remedy="Make it lower." if longest <= 0.0 else "Make it lower, or move the panels that cross it.",
    )  # fmt: skip


def _shut(line: PanelLine, start: float, end: float, reach: float, foot_reach: float) -> Callable[[float], bool]:
    """Return whether a cut at a position would meet a crossing, a foot or an end."""
    kept = [crossing.at for crossing in line.crossings]
    shod = [CHEEK if end == "shoe" else 0.0 for end in line.ends]
    low, high = start + shod[0] + reach, end - shod[1] - reach

    def shut(at: float) -> bool:
        return (
            not low <= at <= high
            or any(abs(at - other) < reach for other in kept)
            or any(abs(at - foot.middle) < foot_reach for foot in line.feet)
        )

    return shut


def _not_carried(line: PanelLine, sockets: FloorSockets, shut: Callable[[float], bool]) -> Callable[[float], bool]:
    """Return whether a clip at a position is in the way of something, or would stand in a socket."""

    def closed(at: float) -> bool:
        half = CLIP_WIDTHS[0] / 2.0
        return shut(at) or not sockets.carries(line.across(half, at - CLIP / 2.0, at + CLIP / 2.0))

    return closed


def _spread(  # noqa: PLR0917 - where to cut, and what is in the way
    start: float,
    end: float,
    count: int,
    longest: float,
    shut: Callable[[float], bool],
    rests: Callable[[float, float], bool],
) -> tuple[float, ...] | None:
    """Return ``count - 1`` cuts near equal distances; None where strips would be too long, or one would not rest."""
    each = (end - start) / count
    cuts: list[float] = []
    for number in range(1, count):
        even = start + number * each
        low, high = [start, *cuts][-1], min(end, [start, *cuts][-1] + longest)
        least = low + _SHORTEST if cuts else low
        steps = sorted(range(-int(each / _STEP), int(each / _STEP) + 1), key=lambda step: (abs(step), step))
        near = (on_grid(even + step * _STEP) for step in steps)
        at = next((at for at in near if least < at <= high and not shut(at) and rests(low, at)), None)
        if at is None:
            return None
        cuts.append(at)
    return tuple(cuts) if end - cuts[-1] <= longest and rests(cuts[-1], end) else None


def strips_between(start: float, end: float, cuts: Sequence[float]) -> list[tuple[float, float]]:
    """Return where each strip begins and ends, from the panel's start on."""
    ends = [start, *cuts, end]
    return list(itertools.pairwise(ends))

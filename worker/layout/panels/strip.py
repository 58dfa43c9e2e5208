"""The strip: the outline of a piece of a panel, as it lies on the bed, and its mark."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import shapely
from shapely.geometry import Polygon, box

from worker.layout.model.shapes import Lettering, Point, Ring, StripShape
from worker.layout.panels.profile import (
    BASE,
    BASE_AIR,
    CLIP,
    CLIP_END_AIR,
    LAP_LEAD,
    LAP_SPARE,
    TAB_HEAD,
    TAB_NECK,
    TAB_PITCH,
    TAB_REACH,
    PanelProfile,
)
from worker.layout.tray.font import least_mark_cap
from worker.layout.tray.interior import on_grid
from worker.layout.tray.part_mark import CAP_HEIGHTS, MARK_DEPTH, text_size
from worker.layout.tray.pockets.pocket_outline import clean, outline_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["Lap", "strip_mark", "strip_outline", "tab_count"]

#: Plastic between a mark and the edges of its strip, mm.
_CLEAR: Final = 1.5
#: Length at the ends of a strip that shoes and clips hide, mm.
_HIDDEN: Final = CLIP / 2.0
#: Step in which a mark is moved along its strip, mm, and the heights at which it is tried, as shares of the strip's.
_STEP: Final = 5.0
_HEIGHTS: Final = (0.5, 0.25, 0.75)
#: Overlap of what is joined or cut, mm.
_OVER: Final = 1.0


@dataclass(frozen=True, slots=True)
class Lap:
    """Slot of a half lap: its middle along the panel, its width, the height at which it ends, and where it is open."""

    at: float
    width: float
    end: float
    open_above: bool


def tab_count(height: float) -> int:
    """Return the number of tabs in a splice of strips of this height, mm."""
    return max(1, int(height // TAB_PITCH))


def strip_outline(
    ends: tuple[float, float],
    height: float,
    profile: PanelProfile,
    *,
    spliced: tuple[bool, bool],
    laps: Iterable[Lap],
    clips: Iterable[float],
) -> Ring:
    """Return the outline of a strip, counter-clockwise from 0, 0, mm.

    Args:
        ends: where it begins and ends along its panel, mm; at a splice, the middle of the seam.
        height: of the panel, mm.
        profile: of the panels.
        spliced: whether another strip joins it at either end; it has recesses at its first end and tabs at its last.
        laps: the slots along the panel.
        clips: the middles of the clips below the panel.
    """
    seam = profile.air / 2.0
    start, end = ends[0] + seam * spliced[0], ends[1] - seam * spliced[1]
    area: BaseGeometry = box(start, 0.0, end, height)
    if spliced[1]:
        area = area.union(shapely.union_all([_tab(end, middle) for middle in _tab_middles(height)]))
    if spliced[0]:
        recesses = [
            _tab(start - profile.air, middle).buffer(profile.air, join_style="mitre") for middle in _tab_middles(height)
        ]
        area = area.difference(shapely.union_all(recesses))
    reach = CLIP / 2.0 + CLIP_END_AIR
    cut = [box(at - reach, -_OVER, at + reach, BASE + BASE_AIR) for at in clips]
    cut += [_slot(lap, height) for lap in laps]
    area = area.difference(shapely.union_all(cut)) if cut else area
    return outline_of(clean(shapely.transform(area, lambda points: points - [start, 0.0])))


def _tab_middles(height: float) -> Sequence[float]:
    count = tab_count(height)
    return [on_grid(height * (number + 0.5) / count) for number in range(count)]


def _tab(at: float, middle: float) -> Polygon:
    """Return a tab at the end of a strip: its neck, flanks at 45 degrees, and its head."""
    flare = at + TAB_HEAD - TAB_NECK
    half = ((at - _OVER, TAB_NECK), (at, TAB_NECK), (flare, TAB_HEAD), (at + TAB_REACH, TAB_HEAD))
    return Polygon([(x, middle - y) for x, y in half] + [(x, middle + y) for x, y in reversed(half)])


def _slot(lap: Lap, height: float) -> Polygon:
    """Return the slot of a half lap with a chamfer at its mouth."""
    half = lap.width / 2.0
    edge, out = (height, 1.0) if lap.open_above else (0.0, -1.0)
    side = (
        (half, lap.end),
        (half, edge - out * LAP_LEAD),
        (half + LAP_LEAD, edge),
        (half + LAP_LEAD, edge + out * _OVER),
    )
    return Polygon([(lap.at + x, y) for x, y in side] + [(lap.at - x, y) for x, y in reversed(side)])


def lap_end(height: float, *, open_above: bool) -> float:
    """Return the height at which the slot of a crossing ends, given the lower of the two panels' heights, mm."""
    return on_grid(height / 2.0 + (-LAP_SPARE if open_above else LAP_SPARE))


def strip_mark(shape: StripShape, mark: str, *, line_width: float) -> Lettering | None:
    """Return the mark in the strip's upper face, near its first end but clear of shoes and clips; None without room.

    Args:
        shape: the strip without its mark.
        mark: the mark.
        line_width: width of a printed line, mm.
    """
    room = Polygon(shape.outline).buffer(-_CLEAR, join_style="mitre")
    shapely.prepare(room)
    left, low, right, high = room.bounds
    for cap_height in (height for height in CAP_HEIGHTS if height >= least_mark_cap(line_width)):
        width, depth = text_size(mark, cap_height)
        ends = left + width / 2.0, right - width / 2.0
        # what a shoe or clip would hide comes last
        for x in (*_steps(ends[0] + _HIDDEN, ends[1] - _HIDDEN), *_steps(*ends)):
            for share in _HEIGHTS:
                at: Point = (on_grid(x), on_grid(low + share * (high - low)))
                if room.contains(box(at[0] - width / 2, at[1] - depth / 2, at[0] + width / 2, at[1] + depth / 2)):
                    return Lettering(mark, "top", at, cap_height, MARK_DEPTH)
    return None


def _steps(low: float, high: float) -> list[float]:
    return [low + step * _STEP for step in range(max(int((high - low) / _STEP) + 1, 0))]

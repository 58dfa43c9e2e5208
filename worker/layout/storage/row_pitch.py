"""Row pitch: how close the rows of flat things with an outline lie, all one way round or head to tail.

Tapered things, such as spanners and pliers, take less room when every other one lies the other way round.
"""

from functools import lru_cache
from itertools import pairwise
from typing import Final, NamedTuple

from shapely.geometry import Polygon

from worker.layout.model.shapes import Ring
from worker.layout.storage.poses import Pose, reversed_pose
from worker.layout.storage.sizing_rules import AIR

__all__ = ["RowPitch", "row_pitch"]

#: Turning every other thing round has to save this share of a row, or they all lie one way round (own choice).
_WORTH_TURNING: Final = 0.08

#: The arc that the outline is widened by is a polygon inside it: so much more serves.
_ARC: Final = 1.02

#: Sections just before and behind a corner, in mm.
_NEAR: Final = 1e-4


class RowPitch(NamedTuple):
    """From an even row to the next, and from an odd row to the next in mm; the latter is 0 where all are alike."""

    pitch: float
    back: float


@lru_cache(maxsize=4096)
def row_pitch(pose: Pose) -> RowPitch:
    """Return the least pitches of rows along x, with `AIR` between the outlines.

    Rows are pushed together from the side, so that none is locked in another; things without an outline take their
    width and `AIR`.
    """
    box = pose.size[0] + AIR
    if pose.form != "prism" or pose.axis != "z":
        return RowPitch(box, 0.0)
    there, back = pose.outline, reversed_pose(pose).outline
    alike = min(_apart(there, there), box)
    to_tail, to_head = min(_apart(there, back), box), min(_apart(back, there), box)
    if (to_tail + to_head) / 2.0 < alike - _WORTH_TURNING * box:
        return RowPitch(to_tail, to_head)
    return RowPitch(alike, 0.0)


def _apart(left: Ring, right: Ring) -> float:
    """Return how far an outline lies to the right of another when it is pushed against it from the right."""
    widened = Polygon(left).buffer(AIR * _ARC)
    near = [(x, y) for x, y in widened.exterior.coords]
    corners = sorted({y for _, y in near} | {y for _, y in right})
    sections = [y + by for y in corners for by in (-_NEAR, _NEAR)]
    return max(
        (
            end - begin
            for y in sections
            if (end := _reach(near, y, side=1.0)) is not None
            and (begin := _reach([*right, right[0]], y, side=-1.0)) is not None
        ),
        default=0.0,
    )


def _reach(ring: list[tuple[float, float]], y: float, *, side: float) -> float | None:
    """Return the right most point of a ring at a height, with side -1 the left most; None where it has none."""
    crossings = [
        ax + (bx - ax) * (y - ay) / (by - ay) for (ax, ay), (bx, by) in pairwise(ring) if min(ay, by) < y <= max(ay, by)
    ]
    return side * max(side * x for x in crossings) if crossings else None

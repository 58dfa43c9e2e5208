"""The jointed tray: a tray larger than the bed as pieces that fit it, and the splices between them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import inf
from typing import Final

from worker.layout.model.shapes import PieceShape, Point, Post, Splice, TrayShape
from worker.layout.tray.interior import on_grid
from worker.layout.tray.joints.cuts import Cuts, choose_cuts
from worker.layout.tray.joints.obstacles import Obstacles
from worker.layout.tray.joints.outlines import Axis, splice, wall_posts
from worker.layout.tray.joints.profile import Profile
from worker.layout.tray.ramp_and_ledge import LEDGE_EDGE
from worker.spec.drawer.joint import Joint

__all__ = ["SplicedTray", "jointed_tray", "piece_size"]

#: Height between the top of a post under a label ledge and the ledge's slope, mm.
_UNDER_SLOPE: Final = 0.3


@dataclass(frozen=True, slots=True)
class SplicedTray:
    """A tray in pieces; ``shape`` is the tray with its posts, ``bare`` without them.

    ``pieces`` are in the order in which they are joined: from the front, each row from the left.
    """

    shape: TrayShape
    bare: TrayShape
    splices: tuple[Splice, ...]
    pieces: tuple[PieceShape, ...]
    profile: Profile


@lru_cache(maxsize=256)  # a tray is asked for when it is checked, filled, kept and placed
def jointed_tray(
    shape: TrayShape, *, joint: Joint, line_width: float, ceiling: float, beds: tuple[Point, ...]
) -> SplicedTray | None:
    """Return a tray in pieces that fit the bed; None if it cannot be cut so.

    Args:
        shape: the tray, high enough, see `Profile.least_height`.
        joint: joint of the grid.
        line_width: of a printed line, mm.
        ceiling: z at which dividers end, mm.
        beds: sizes of the bed's free rectangles ``(x, y)``, in either orientation, mm.
    """
    profile = Profile.of(joint, line_width)
    obstacles = Obstacles(shape, profile)
    cuts = choose_cuts(obstacles, beds)
    if cuts is None:
        return None
    rows = _splices(shape, obstacles, cuts, profile, ceiling)
    posts = tuple(post for _, both in (*rows[0], *rows[1]) for post in both)
    whole = replace(shape, posts=posts)
    across, back = (tuple(line for line, _ in row) for row in rows)
    pieces = tuple(
        _piece(whole, across, back, column, row) for row in range(len(back) + 1) for column in range(len(across) + 1)
    )
    return SplicedTray(whole, shape, (*across, *back), pieces, profile)


def piece_size(shape: PieceShape) -> tuple[float, float, float]:
    """Return the bounding box ``(x, y, z)`` of a piece, in mm."""
    tray = shape.tray
    ends = tuple(on_grid(halves * tray.pitch / 2.0 - 2.0 * tray.inset) for halves in tray.halves)
    right = ends[0] if shape.right is None else on_grid(shape.right.at - shape.right.air / 2.0)
    back = ends[1] if shape.back is None else on_grid(shape.back.at - shape.back.air / 2.0)
    high = tray.height if None in {shape.left, shape.right, shape.front, shape.back} else _inner_top(shape, right, back)
    return on_grid(right - shape.corner[0]), on_grid(back - shape.corner[1]), high


def _inner_top(shape: PieceShape, right: float, back: float) -> float:
    """Return the z of the top, mm, of a piece in the middle of a tray: of its dividers, or else of its floor."""
    tray, ranges = shape.tray, ((shape.corner[0], right), (shape.corner[1], back))
    tops = [tray.fill_top]
    for wall in tray.walls:
        across = ("x", "y").index(wall.axis)
        (low, high), (begin, end) = ranges[across], ranges[1 - across]
        first, last = wall.span or (begin, end)
        if low < wall.at < high and first < end and last > begin:
            tops.append(wall.top)
    tops.extend(
        on_grid(tray.fill_top + text.depth)
        for text in tray.letterings
        if text.raised
        and text.face == "floor"
        and all(low < at < high for (low, high), at in zip(ranges, text.at, strict=True))
    )
    return max(tops)


_Row = list[tuple[Splice, tuple[Post, ...]]]


def _splices(shape: TrayShape, obstacles: Obstacles, cuts: Cuts, profile: Profile, ceiling: float) -> tuple[_Row, _Row]:
    """Return the splices along x and along y, each with its posts."""
    rows: tuple[_Row, _Row] = ([], [])
    axes: tuple[tuple[Axis, Axis, tuple[float, ...], tuple[float, ...]], ...] = (
        ("x", "y", cuts.x, cuts.y),
        ("y", "x", cuts.y, cuts.x),
    )
    for row, (axis, along, own, crossing) in zip(rows, axes, strict=True):
        length = on_grid(obstacles.length(along))
        tops = (ceiling, _back_top(shape, profile, ceiling) if axis == "x" else ceiling)
        for at in own:
            line = splice(axis, at, length, obstacles.tabs(axis, at, crossing), profile, shape.fill_top, tops)
            row.append((line, wall_posts(axis, at, length, shape.wall, profile, tops)))
    return rows


def _back_top(shape: TrayShape, profile: Profile, ceiling: float) -> float:
    """Return the z at which posts at the back wall end: below the slope of a label ledge."""
    ledge = shape.ledge
    if ledge is None:
        return ceiling
    depth = min(max(profile.post - shape.wall, 0.0), ledge.depth)
    return on_grid(ledge.top - ledge.drop * depth / ledge.depth - min(_UNDER_SLOPE, LEDGE_EDGE / 2.0))


def _piece(shape: TrayShape, across: Sequence[Splice], back: Sequence[Splice], column: int, row: int) -> PieceShape:
    """Return the piece in a column and a row."""
    left = across[column - 1] if column else None
    front = back[row - 1] if row else None
    right = across[column] if column < len(across) else None
    behind = back[row] if row < len(back) else None
    corner = (_start(left, front, behind), _start(front, left, right))
    return PieceShape(tray=shape, corner=corner, left=left, front=front, right=right, back=behind)


def _start(line: Splice | None, low: Splice | None, high: Splice | None) -> float:
    """Return where a piece begins that lies behind a splice, between two others: at its own tabs' and tongues' tips."""
    if line is None:
        return 0.0
    axis = ("x", "y").index(line.axis)
    least, most = (-inf if low is None else low.at), (inf if high is None else high.at)
    points = (*line.behind, *(point for tongue in line.tongues for point in tongue.outline))
    tips = (point[axis] for point in points if least < point[1 - axis] < most)
    return on_grid(min(tips, default=line.at + line.air / 2.0))

"""The outlines of a splice: edges with tabs, tongues, slots and posts, seen from above."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final, Literal

import numpy as np
from shapely import Polygon

from worker.layout.model.shapes import Point, Post, Ring, Splice, Tongue
from worker.layout.tray.interior import on_grid
from worker.layout.tray.joints.profile import AIR, TAB_HALF, TAB_HEAD, TAB_LOCK, TAB_REACH, TONGUE_COVER, Profile
from worker.layout.tray.pockets.pocket_outline import mitred
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["BEYOND", "POINTS_OF_A_TAB", "post_section", "splice", "wall_posts", "wall_taper"]

Axis = Literal["x", "y"]

#: Distance by which edges extend beyond the tray's outer faces, and roots of tongues into their piece, mm.
BEYOND: Final = 1.0
#: Points that a tab adds to the edge of its piece.
POINTS_OF_A_TAB: Final = 6
#: How far a post reaches into its wall, at most, mm.
_OVERLAP: Final = 0.4
#: Difference below which a post is as thick as its wall, mm.
_ALIKE: Final = 0.1


def splice(  # noqa: PLR0917 - where it is and what it joins
    axis: Axis, at: float, length: float, tabs: Sequence[float], profile: Profile, top: float, tops: tuple[float, float]
) -> Splice:
    """Return a splice across a tray.

    Args:
        axis: that its line is perpendicular to.
        at: position of the line on that axis, mm.
        length: of the tray along the line, mm.
        tabs: middles of the tabs along the line, rising, mm.
        profile: of the splice.
        top: z up to which floor and tabs reach, mm.
        tops: z of the posts' tops at the beginning and at the end of the line, mm.
    """
    behind = _edge(tabs, length)
    before = _offset(behind, length)
    ends = (profile.middle, on_grid(length - profile.middle))
    return Splice(
        axis=axis,
        at=at,
        air=AIR,
        before=_placed(axis, at, before),
        behind=_placed(axis, at, behind),
        top=top,
        tongues=tuple(
            Tongue(
                outline=_ring(axis, at, _tee(profile, end, grown=False)),
                slot=_ring(axis, at, _tee(profile, end, grown=True)),
                low=profile.low,
                drop=profile.drop,
                top=on_grid(post_top - TONGUE_COVER),
            )
            for end, post_top in zip(ends, tops, strict=True)
        ),
    )


def wall_posts(  # noqa: PLR0917 - as for the splice
    axis: Axis, at: float, length: float, wall: float, profile: Profile, tops: tuple[float, float]
) -> tuple[Post, ...]:
    """Return the posts of a splice, none where the wall is thick enough.

    Args:
        axis: that the splice's line is perpendicular to.
        at: position of the line on that axis, mm.
        length: of the tray along the line, mm.
        wall: thickness of the tray's walls, mm.
        profile: of the splice.
        tops: z of the posts' tops at the beginning and at the end of the line, mm.
    """
    if wall >= profile.post - LENGTH_EPSILON:
        return ()
    taper = wall_taper(wall, profile)
    thick = max(profile.post, wall + _ALIKE)
    root = thick - taper
    before, behind = profile.ends
    outline = ((-before - taper, root), (behind + taper, root), (behind, thick), (-before, thick))
    mirrored = tuple((x, length - u) for x, u in reversed(outline))
    return tuple(
        Post(_ring(axis, at, flat), post_top) for flat, post_top in zip((outline, mirrored), tops, strict=True)
    )


def wall_taper(wall: float, profile: Profile) -> float:
    """Return the length of a post's ends, which lean back at 45 degrees into its wall, mm; 0 where there is no post."""
    if wall >= profile.post - LENGTH_EPSILON:
        return 0.0
    return max(profile.post, wall + _ALIKE) - wall + min(_OVERLAP, wall / 2.0)


@lru_cache(maxsize=64)
def post_section(wall: float, profile: Profile) -> float:
    """Return the plastic that a post adds to a wall, seen from above, in mm2: its outline less the air in its slot.

    Args:
        wall: thickness of the tray's walls, mm.
        profile: of the splice.
    """
    air = Polygon(_tee(profile, 0.0, grown=True)).area - Polygon(_tee(profile, 0.0, grown=False)).area
    if wall >= profile.post - LENGTH_EPSILON:
        return -air
    inside = max(profile.post, wall + _ALIKE) - wall
    return (sum(profile.ends) + inside) * inside - air


def _edge(tabs: Sequence[float], length: float) -> Ring:
    """Return the edge of the piece behind as ``(distance from the line, position along it)``, with its tabs."""
    root, neck = AIR / 2.0, TAB_LOCK
    points: list[Point] = [(root, -BEYOND)]
    for middle in tabs:
        points += [
            (root, middle - TAB_HALF), (root - neck, middle - TAB_HEAD), (root - TAB_REACH, middle - TAB_HEAD),
            (root - TAB_REACH, middle + TAB_HEAD), (root - neck, middle + TAB_HEAD), (root, middle + TAB_HALF),
        ]  # fmt: skip
    return (*points, (root, length + BEYOND))


def _offset(edge: Ring, length: float) -> Ring:
    """Return the edge of the piece before: that of the piece behind, moved by the air perpendicular to each side."""
    far = 10.0 * BEYOND
    ring = np.array([*edge, (far, length + BEYOND), (far, -BEYOND)])
    moved = mitred(ring[::-1], AIR)[::-1][: len(edge)]
    moved[[0, -1], 1] = ring[[0, len(edge) - 1], 1]
    return tuple((float(x), float(y)) for x, y in moved)


def _tee(profile: Profile, middle: float, *, grown: bool) -> Ring:
    """Return a tongue, or its slot, as ``(distance from the line, position along it)``, counter-clockwise."""
    air = AIR if grown else 0.0
    neck, head = profile.neck / 2.0 + air, profile.head / 2.0 + air
    root, shoulder, tip = AIR / 2.0 + BEYOND, -(profile.lip + AIR - air), -(profile.reach + air)
    return (
        (root, middle - neck), (root, middle + neck), (shoulder, middle + neck), (shoulder, middle + head),
        (tip, middle + head), (tip, middle - head), (shoulder, middle - head), (shoulder, middle - neck),
    )  # fmt: skip


def _placed(axis: Axis, at: float, points: Ring) -> Ring:
    """Return points of the line's frame in the tray's frame, in their order."""
    if axis == "x":
        return tuple((on_grid(at + across), on_grid(along)) for across, along in points)
    return tuple((on_grid(along), on_grid(at + across)) for across, along in points)


def _ring(axis: Axis, at: float, points: Ring) -> Ring:
    """Return a ring of the line's frame in the tray's frame, counter-clockwise."""
    placed = _placed(axis, at, points)
    return placed if axis == "x" else placed[::-1]

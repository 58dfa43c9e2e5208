"""The joint: the polyline that defines both the socket of a tile and the foot of a tray.

A point is ``(inset, z)`` in mm: the distance of the socket wall from the edge of its cell, and the height above the
drawer's bottom. The polyline runs from the bottom up to the land, the narrow top of the wall between two sockets. The
socket is open towards larger insets, so a foot is the same polyline offset into the opening by the clearance.
"""

import itertools
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, hypot, sqrt
from typing import Final, TypeAlias

from worker.spec.errors import JointError
from worker.spec.tolerances import COORDINATE_GRID, DIRECTION_EPSILON, LENGTH_EPSILON, LINES_IN_A_WALL

Level: TypeAlias = tuple[float, float]
Levels: TypeAlias = tuple[Level, ...]

#: Chamfer of first layers in mm, two layers of 0.2 mm: they spread by 0.1 to 0.3 mm a side (common practice).
FIRST_LAYER_RELIEF: Final = 0.4

#: Corner radius of a cell at inset 0, in mm. A ring at inset ``u`` has radius ``CORNER_RADIUS - u``, so all rings are
#: parallel curves. A large radius leaves enough plastic for the seams' tabs where four sockets meet.
CORNER_RADIUS: Final = 7.0

#: Minimum corner radius of a ring, in mm, for insets beyond ``CORNER_RADIUS``.
LEAST_RADIUS: Final = 0.4

#: Minimum width of a foot at its bottom, in mm.
LEAST_FOOT: Final = 5.0

_TOE_HEIGHT: Final = 1.0
_SLOPE: Final = 0.6
_GUIDE_HEIGHT: Final = 1.4
_MAX_HEIGHT: Final = 12.0
#: A tile carries a mark of 0.4 mm in each face, with two layers between them.
_LEAST_HEIGHT: Final = 1.2
_MIN_POINTS: Final = 2
_MAX_POINTS: Final = 32
#: Minimum rise of a segment in mm, well above the grid that coordinates are rounded to.
_LEAST_RISE: Final = 0.01


def default_profile(clearance: float, line_width: float) -> Levels:
    """Return the built-in profile: a vertical toe, a 45-degree seat and a vertical guide.

    The land is as narrow as a stacking rim of two lines allows: ``clearance + 2 * line_width``, rounded up to 0.05 mm.

    Args:
        clearance: between socket and foot, per side, in mm.
        line_width: width of a printed line, in mm.
    """
    land = ceil((clearance + LINES_IN_A_WALL * line_width) / 0.05 - LENGTH_EPSILON) * 0.05
    toe = land + _SLOPE
    height = _TOE_HEIGHT + _SLOPE + _GUIDE_HEIGHT
    return ((toe, 0.0), (toe, _TOE_HEIGHT), (land, _TOE_HEIGHT + _SLOPE), (land, height))


@dataclass(frozen=True, slots=True)
class Joint:
    """A validated joint profile; all lengths in mm.

    Raises:
        JointError: if the polyline does not start at z 0, does not rise, narrows the socket towards its top, overhangs
            more than 45 degrees, leaves a wall under two line widths, or has a segment too short for the foot's offset.
    """

    profile: Levels
    clearance: float
    line_width: float
    pointer: str = "/grid/joint"

    def __post_init__(self) -> None:
        """Validate the profile."""
        _check(self)

    @property
    def height(self) -> float:
        """Height of the land, and so of a tile, in mm."""
        return self.profile[-1][1]

    @property
    def land(self) -> float:
        """Inset at the top in mm: half the width of the wall between two sockets."""
        return self.profile[-1][0]

    @property
    def toe(self) -> float:
        """Inset at the bottom, in mm."""
        return self.profile[0][0]

    @property
    def body_inset(self) -> float:
        """Inset of a tray's outer face in mm: half the gap between two neighbouring trays."""
        return self.clearance

    @property
    def settling(self) -> float:
        """Height in mm by which a stacked tray sinks from where its foot keeps the clearance until it rests.

        It rests on its 45-degree shoulder: faces at 45 degrees that are a clearance c apart, perpendicular to them, are
        ``c * sqrt(2)`` apart along z. No face of a joint is flatter, so none touches earlier. Two steps of the
        coordinate grid are left between the two faces, for their rounding.
        """
        return (floor(self.clearance * sqrt(2.0) / COORDINATE_GRID) - 2) * COORDINATE_GRID

    @property
    def nesting_depth(self) -> float:
        """Depth in mm by which a stacked tray, at rest, stands in the stacking rim below it."""
        return self.height + self.settling

    def socket_levels(self, widen: float = 0.0, mouth: float = 0.0) -> Levels:
        """Return the socket wall from z 0 up to the land, with the first-layer chamfer.

        Args:
            widen: offset of the wall in mm, perpendicular to it; positive widens the socket.
            mouth: height in mm of a 45-degree chamfer at the socket's upper edge.
        """
        profile = self._chamfered(mouth)
        levels = profile if widen == 0.0 else _offset(profile, -widen)
        return _relieved(levels, outwards=-1.0)

    def rim_levels(self, base: float, below: float = 0.0) -> Levels:
        """Return the socket of a stacking rim with its bottom at z ``base`` (mm); it needs no first-layer chamfer.

        Args:
            base: z of the socket's bottom.
            below: depth in mm by which the socket's toe continues below ``base``.
        """
        (toe, bottom), *others = self.profile
        return ((toe, base + bottom - below), *((inset, base + z) for inset, z in others))

    def foot_levels(self, clearance: float | None = None, mouth: float = 0.0) -> Levels:
        """Return the foot from z 0 up to where its 45-degree shoulder meets the tray's outer face.

        The foot is a mitred offset of the profile, so it keeps the clearance everywhere, perpendicular to the wall.

        Args:
            clearance: per side in mm; None for the joint's own.
            mouth: height in mm of the chamfer of the socket that it is made for, as in `socket_levels`.
        """
        below = self._foot_below(self.clearance if clearance is None else clearance, mouth)
        last_inset, last_z = below[-1]
        top = (self.body_inset, last_z + (last_inset - self.body_inset))
        return _relieved((*below, top), outwards=1.0)

    def _foot_below(self, air: float, mouth: float) -> Levels:
        """Return the foot up to its shoulder, without the first-layer chamfer."""
        profile = self._chamfered(mouth)
        inset, top = profile[-1]
        reach = inset + air * sqrt(2.0) + 1.0
        return _offset((*profile, (inset - reach, top + reach)), air)[:-1]

    def _chamfered(self, mouth: float) -> Levels:
        """Return the profile with a chamfer of at most half its last segment's height at its upper edge."""
        if mouth == 0.0:
            return self.profile
        (u0, z0), (u1, z1) = self.profile[-2:]
        rise = min(mouth, (z1 - z0) / 2.0)
        inset = u1 + (u0 - u1) * rise / (z1 - z0)
        return (*self.profile[:-1], (inset, z1 - rise), (inset - rise, z1))

    @property
    def foot_height(self) -> float:
        """Height at which the tray's body begins, in mm."""
        return self.foot_levels()[-1][1]


@lru_cache(maxsize=256)  # most specs have the same joint
def _offset(levels: Levels, distance: float) -> Levels:
    """Return the mitred offset of a rising polyline by ``distance`` mm towards larger insets, from z 0 up."""
    lines: list[tuple[float, float, float, float]] = []
    for (u0, z0), (u1, z1) in itertools.pairwise(levels):
        length = hypot(u1 - u0, z1 - z0)
        du, dz = (u1 - u0) / length, (z1 - z0) / length
        line = (u0 + distance * dz, z0 - distance * du, du, dz)
        if lines and abs(lines[-1][2] - du) < DIRECTION_EPSILON:
            continue  # one straight line in two pieces has no mitre
        lines.append(line)
    first_u, first_z, du, dz = lines[0]
    points = [(first_u - du / dz * first_z, 0.0)]
    for (ua, za, dua, dza), (ub, zb, dub, dzb) in itertools.pairwise(lines):
        step = ((ub - ua) * dzb - (zb - za) * dub) / (dua * dzb - dza * dub)
        points.append((ua + step * dua, za + step * dza))
    last_u, last_z, du, dz = lines[-1]
    rise = levels[-1][1] - last_z
    points.append((last_u + du / dz * rise, levels[-1][1]))
    return tuple(points)


def _relieved(levels: Levels, outwards: float) -> Levels:
    """Return the levels with a 45-degree chamfer at z 0, if the first segment is vertical and long enough for it."""
    (u0, z0), (u1, z1) = levels[0], levels[1]
    if abs(u0 - u1) > LENGTH_EPSILON or z1 - z0 < 2.0 * FIRST_LAYER_RELIEF:
        return levels
    chamfer = ((u0 + outwards * FIRST_LAYER_RELIEF, 0.0), (u0, FIRST_LAYER_RELIEF))
    return (*chamfer, *levels[1:])


def _check(joint: Joint) -> None:
    points, where = joint.profile, joint.pointer
    if not _MIN_POINTS <= len(points) <= _MAX_POINTS:
        raise JointError(
            "The joint has the wrong number of points.",
            pointer=where, value=len(points), limit=f"{_MIN_POINTS} to {_MAX_POINTS} points",
            remedy="Leave the joint out for the built-in profile.",
        )  # fmt: skip
    if points[0][1] != 0.0:
        raise JointError(
            "The joint's first point must lie on the drawer's bottom.",
            pointer=f"{where}/0/1", value=points[0][1], limit="0 mm", remedy="Start the polyline at height 0.",
        )  # fmt: skip
    _check_pieces(points, where)
    _check_height(joint)
    _check_land_and_foot(joint)


def _check_pieces(points: Levels, where: str) -> None:
    """Check that each segment rises, does not narrow the socket and overhangs at most 45 degrees."""
    for index, ((u0, z0), (u1, z1)) in enumerate(itertools.pairwise(points), start=1):
        at = f"{where}/{index}"
        if z1 - z0 < _LEAST_RISE - LENGTH_EPSILON:
            raise JointError(
                "The joint must rise from each point to the next.",
                pointer=f"{at}/1", value=z1, limit=f"at least {z0 + _LEAST_RISE:g} mm",
                remedy="List the points from the bottom up.",
            )  # fmt: skip
        if u1 - u0 > LENGTH_EPSILON:
            raise JointError(
                "The socket narrows towards its top, so no tray could be lifted out.",
                pointer=f"{at}/0", value=u1, limit=f"at most {u0:g} mm", remedy="Let no inset exceed the previous one.",
            )  # fmt: skip
        if u0 - u1 > z1 - z0 + LENGTH_EPSILON:
            raise JointError(
                "The joint overhangs more than 45 degrees and would need supports.",
                pointer=at, value=round(u0 - u1, 4), limit=f"at most {z1 - z0:g} mm over this rise",
                remedy="Make the slope 45 degrees or steeper.",
            )  # fmt: skip


def _check_height(joint: Joint) -> None:
    at = f"{joint.pointer}/{len(joint.profile) - 1}/1"
    if joint.height > _MAX_HEIGHT:
        raise JointError(
            "The joint is too tall.",
            pointer=at, value=joint.height, limit=f"at most {_MAX_HEIGHT:g} mm", remedy="Lower its last point.",
        )  # fmt: skip
    if joint.height < _LEAST_HEIGHT - LENGTH_EPSILON:
        raise JointError(
            "The joint is too low to hold a tray and carry a mark.",
            pointer=at, value=joint.height, limit=f"at least {_LEAST_HEIGHT:g} mm", remedy="Raise its last point.",
        )  # fmt: skip


def _check_land_and_foot(joint: Joint) -> None:
    """Check the wall left at the top, and that the foot rises in every segment."""
    points, where = joint.profile, joint.pointer
    wall = LINES_IN_A_WALL * joint.line_width
    if joint.land - joint.body_inset < wall - LENGTH_EPSILON:
        raise JointError(
            "The wall between two sockets is thinner than two line widths at its top.",
            pointer=f"{where}/{len(points) - 1}/0", value=joint.land,
            limit=f"at least {joint.body_inset + wall:g} mm (clearance and two lines)",
            remedy="Increase the inset of the last point.",
        )  # fmt: skip
    foot = joint._foot_below(joint.clearance, 0.0)  # noqa: SLF001 - the same module
    rise = min((z1 - z0 for (_, z0), (_, z1) in itertools.pairwise(foot)), default=joint.height)
    if rise < _LEAST_RISE - LENGTH_EPSILON:
        raise JointError(
            "A segment of the joint is too short for this clearance: the offset foot would fold over itself.",
            pointer=where, value=round(rise, 4), limit=f"every segment of the foot rises at least {_LEAST_RISE:g} mm",
            remedy="Lengthen the segment, flatten its corners, or reduce the clearance.",
        )  # fmt: skip

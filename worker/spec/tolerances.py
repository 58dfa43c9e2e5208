"""Every length, ratio and count below which two things are held to be the same: one place, one name each.

Lengths are millimetres. A number that decides whether something *passes* belongs here; a number that shapes a part
belongs with the part.
"""

from math import pi, sin, sqrt
from typing import Final

#: Coordinates are rounded to this grid before a solid is built, so equal points are equal bytes.
COORDINATE_GRID: Final = 1e-3

#: How far a cutter reaches past the face it cuts, so that no two faces lie flush.
OVERSHOOT: Final = 0.01

#: Relative difference allowed between a solid's volume and that of its file as read back.
VOLUME_RATIO: Final = 1e-5

#: How far a point of the STL may be from the same point of the 3MF: single precision at half a metre.
FILE_SLACK: Final = 1e-4

#: How much less than the nominal clearance a measured gap may be: facets of arcs and the coordinate grid.
CLEARANCE_SLACK: Final = 0.01

#: Triangles that reach into each other by no more than this merely touch: what rounding to the grid can do.
INTERSECTION_DEPTH: Final = 1e-3

#: A triangle with a smaller altitude is a sliver.
SLIVER_ALTITUDE: Final = 2e-4

#: How much thinner than two lines a wall may measure before it counts as too thin: rounding of offsets.
WALL_SLACK: Final = 0.02

#: Volume in mm3 that two parts may share, or a part and the drawer's sides: faces that lie flush, in single precision.
SHARED_VOLUME: Final = 0.02

#: How far a part may reach past the outline, the height or the bed: rounding only.
CONTAINMENT_SLACK: Final = 2e-3

#: Lines in a wall, at least: a nozzle lays one line each way round (common practice).
LINES_IN_A_WALL: Final = 2

#: Facets in a quarter turn of every arc; even, so that a corner has a middle. A socket and its foot use the same count,
#: so their gap stays even.
QUARTER_FACETS: Final = 8


def _bulge(facets: int) -> float:
    turn = pi / (2.0 * facets)
    inner = facets - 2.0
    return (sqrt(1.0 + inner * pi / (2.0 * sin(turn))) - 1.0) / inner


#: How much further out than the arc's radius the points between its two ends lie, so that the facets hold the very area
#: of the quarter disc: the fan of triangles ``sin(turn) / 2 * (2 k + (n - 2) k^2) = pi / 4`` solved for ``k``.
ARC_BULGE: Final = _bulge(QUARTER_FACETS)

#: Width readings of one drawer that differ by more than this earn a warning.
READING_SPREAD: Final = 3.0

#: A border strip narrower than this is left as air.
BORDER_LEAST: Final = 2.0

#: Comparisons of lengths that were computed two ways.
LENGTH_EPSILON: Final = 1e-6

#: Parts of unit vectors that differ by less are one direction: points on a grid differ by more, or not at all.
DIRECTION_EPSILON: Final = 1e-9

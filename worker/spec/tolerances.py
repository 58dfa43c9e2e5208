"""Tolerances: every length, ratio and count within which two values count as equal or a check passes.

Lengths are in mm. Numbers that shape a part stand with the part.
"""

from math import pi, sin, sqrt
from typing import Final

#: Grid that coordinates are rounded to before a solid is built, so that equal points give equal bytes.
COORDINATE_GRID: Final = 1e-3

#: Depth in mm by which rounding to the grid may change a solid on average over its surface: a tenth of a step, since
#: rounding errors cancel out (own choice; the largest in 2,000 random jobs was a fiftieth).
ROUNDING_DEPTH: Final = COORDINATE_GRID / 10.0

#: Distance by which a cutter extends past the face it cuts, so that no two faces are coplanar.
OVERSHOOT: Final = 0.01

#: Allowed relative difference between the volume of a solid and that of its file when read back.
VOLUME_RATIO: Final = 1e-5

#: Allowed distance between a point in the STL and the same point in the 3MF: single precision at half a metre.
FILE_SLACK: Final = 1e-4

#: Amount by which a measured gap may be below the nominal clearance, owing to arc facets and the coordinate grid.
CLEARANCE_SLACK: Final = 0.01

#: Penetration depth up to which two triangles count as touching, owing to rounding to the grid.
INTERSECTION_DEPTH: Final = 1e-3

#: Altitude below which a triangle counts as a sliver.
SLIVER_ALTITUDE: Final = 2e-4

#: Amount by which a wall may be thinner than two lines, owing to the rounding of offsets.
WALL_SLACK: Final = 0.02

#: Volume in mm3 that two parts, or a part and the drawer, may share: coplanar faces in single precision.
SHARED_VOLUME: Final = 0.02

#: Distance by which a part may extend beyond the outline, the height or the bed, owing to rounding.
CONTAINMENT_SLACK: Final = 2e-3

#: Minimum number of lines in a wall: one for each side (common practice).
LINES_IN_A_WALL: Final = 2

#: Facets in a quarter turn of every arc. The number is even, so that a corner has a midpoint, and the same for a socket
#: and its foot, so that the gap between them is uniform.
QUARTER_FACETS: Final = 8


def _bulge(facets: int) -> float:
    turn = pi / (2.0 * facets)
    inner = facets - 2.0
    return (sqrt(1.0 + inner * pi / (2.0 * sin(turn))) - 1.0) / inner


#: Relative excess of the radius of the points between the ends of an arc, chosen so that the facets enclose exactly the
#: area of the quarter disc: ``sin(turn) / 2 * (2 k + (n - 2) k^2) = pi / 4`` solved for ``k``.
ARC_BULGE: Final = _bulge(QUARTER_FACETS)

#: Difference between readings of one side above which the plan carries a warning.
READING_SPREAD: Final = 3.0

#: Width below which a border strip is not printed.
BORDER_LEAST: Final = 2.0

#: Minimum number of lines in a border strip: two walls and one line between them (common practice).
LINES_IN_A_BORDER: Final = 3

#: Tolerance for comparing lengths that were computed in two ways.
LENGTH_EPSILON: Final = 1e-6

#: Difference of unit vector components below which two directions are equal; those between grid points differ by more.
DIRECTION_EPSILON: Final = 1e-9

#: How much more than 45 degrees an underside may lean: facets of rounded corners and the coordinate grid.
OVERHANG_SLACK: Final = 1.0

#: How far a printability figure may be past its limit: facets of arcs and rounding, as a share of the limit.
PRINTABILITY_SLACK: Final = 0.002

#: Heights that differ by less are one level: single precision.
SAME_LEVEL: Final = 1e-4

#: A roof sags at its middle; beyond this span in mm a magnet no longer lies flat under it (common practice).
ROOF_MOST: Final = 10.0

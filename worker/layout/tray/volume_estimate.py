"""Volume estimate of a tray in closed form, accurate enough to compare layouts.

Walls and floors are solid as printed; feet are hollow but for their shells and sparse infill.

A rounded rectangle of sides a, b and corner radius r has the area ``a b - (4 - pi) r^2``. Between two levels of a
profile the area is a quadratic of z, so Simpson's rule is exact.
"""

import itertools
from functools import lru_cache
from math import pi
from typing import Final

from worker.layout.tray.interior import toe_run
from worker.layout.tray.ramp_and_ledge import LEDGE_EDGE
from worker.spec.drawer.joint import CORNER_RADIUS, LEAST_RADIUS, Joint, Levels
from worker.spec.drawer.tray import Rim

#: Lines of a wall, thickness of solid bottoms and tops in mm, and density of infill, as slicing profiles have them
#: (common practice; the estimates of `worker/printing` begin with the same numbers).
_SHELL_LINES: Final = 3
_SKIN: Final = 0.8
_INFILL: Final = 0.15


@lru_cache(maxsize=64)
def foot_volume(joint: Joint, side: float) -> float:
    """Return the volume of one foot in mm3, for a cell with this side in mm, up to where the body begins."""
    return _stacked((side, side), joint.foot_levels())


@lru_cache(maxsize=64)
def printed_foot_volume(joint: Joint, side: float, line_width: float, floor: float) -> float:
    """Return the volume of the filament of one foot in mm3, for a cell with this side in mm.

    Its shell is as thick as the lines of its walls and the solid layers of its bottom. The inside is sparse, up into
    the floor, whose top is solid.
    """
    shell = _SHELL_LINES * line_width
    inner: list[tuple[float, float]] = []
    for (u0, z0), (u1, z1) in itertools.pairwise(joint.foot_levels()):
        if z1 <= _SKIN:
            continue
        if z0 < _SKIN:
            u0, z0 = u0 + (u1 - u0) * (_SKIN - z0) / (z1 - z0), _SKIN  # noqa: PLW2901 - cut off below
        inner += [(u0 + shell, z0), (u1 + shell, z1)]
    if inner:
        inner.append((inner[-1][0], inner[-1][1] + max(floor - _SKIN, 0.0)))
    widest = side - 2.0 * max((inset for inset, _ in inner), default=side)
    sparse = _stacked((side, side), tuple(inner)) if widest > 0.0 else 0.0
    return foot_volume(joint, side) - (1.0 - _INFILL) * sparse


@lru_cache(maxsize=16384)
def shell_volume(
    joint: Joint, sides: tuple[float, float], height: float, rim: Rim, *, wall: float, floor: float
) -> float:
    """Return the volume of a tray's floor, walls and rim, without feet, in mm3.

    Args:
        joint: joint of the grid.
        sides: width and depth of the footprint from cell edge to cell edge, mm.
        height: height of the tray, mm.
        rim: kind of rim.
        wall: thickness of the walls, mm.
        floor: thickness of the floor, mm.
    """
    bottom = _foot_height(joint)
    outer, inner = _area(sides, joint.body_inset), _area(sides, joint.body_inset + wall)
    solid = outer * (height - bottom)
    if rim == "straight":
        return solid - inner * (height - bottom - floor)
    run = toe_run(wall, joint)
    hollow = _stacked(sides, joint.rim_levels(height - joint.height, run))
    overhang = max(joint.toe - joint.body_inset - wall, 0.0)
    base = height - joint.height
    if overhang > 0.0:
        hollow += _stacked(sides, ((joint.toe - overhang, base - overhang), (joint.toe, base)))
    return solid - hollow - inner * (base - overhang - run - bottom - floor)


def ledge_section(depth: float, drop: float) -> float:
    """Return the cross-section of a label ledge in mm2: edge, slope and supporting wedge."""
    return depth * (LEDGE_EDGE + drop / 2.0 + depth / 2.0)


@lru_cache(maxsize=16)
def _foot_height(joint: Joint) -> float:
    return joint.foot_height


def _stacked(sides: tuple[float, float], levels: Levels) -> float:
    """Return the volume in mm3 of rounded rectangles stacked along a profile."""
    total = 0.0
    for (low, z0), (high, z1) in itertools.pairwise(levels):
        middle = (low + high) / 2.0
        total += (z1 - z0) / 6.0 * (_area(sides, low) + 4.0 * _area(sides, middle) + _area(sides, high))
    return total


def _area(sides: tuple[float, float], inset: float) -> float:
    across, back = (side - 2.0 * inset for side in sides)
    return across * back - (4.0 - pi) * max(CORNER_RADIUS - inset, LEAST_RADIUS) ** 2

"""The coupon: a plate with one socket for each of five clearances, and a plug to try in them.

The plug's foot is that of a tray at the grid's clearance. Each socket of the plate is a tile's socket, widened or
narrowed in steps: the right clearance is the label beside the socket in which the plug fits best.
"""

from math import ceil
from typing import Final

from worker.layout.model.shapes import CouponShape, Lettering, PlugShape
from worker.layout.tray.font import advance, least_mark_cap
from worker.layout.tray.part_mark import MARK_DEPTH
from worker.spec.drawer.joint import CORNER_RADIUS, LEAST_FOOT, Joint, Levels
from worker.spec.tolerances import LINES_IN_A_WALL

#: Number of sockets on the coupon, and the difference in clearance between two of them in mm.
STEPS: Final = 5
STEP: Final = 0.05

#: Smallest clearance in mm that a printer can fit.
LEAST_CLEARANCE: Final = 0.05

_LEAST_CELL: Final = 21.0
_LIP: Final = 7.0
_CAP_HEIGHT: Final = 4.0
#: Distance of a label from the sides of its cell, mm: the plate's corners are round.
_SIDE: Final = 3.0

#: Height in mm of the 45-degree chamfer at each socket's upper edge, parallel to the plug's shoulder: two layers.
#: Without it the shoulder would meet an edge that only moves sideways with the clearance, and sit 0.3 of a step off it.
_MOUTH: Final = 0.4
_GRIP: Final = 10.0


def clearances(clearance: float) -> tuple[float, ...]:
    """Return the coupon's clearances in mm: from two steps below the grid's to two above, none below the minimum."""
    first = max(clearance - (STEPS - 1) / 2 * STEP, LEAST_CLEARANCE)
    return tuple(round(first + step * STEP, 4) for step in range(STEPS))


def coupon_shapes(joint: Joint, pitch: float, mark: str) -> tuple[CouponShape, PlugShape]:
    """Return the coupon and its plug, the plug without its mark.

    If the widest socket would leave an outer wall under two lines, plug and sockets are all inset by the same length.

    Args:
        joint: the joint of floor and trays.
        pitch: side of a cell in mm; cells of the coupon are half as large if a foot fits in that.
        mark: the coupon's mark, engraved under its lip.
    """
    steps = clearances(joint.clearance)
    sockets = [joint.socket_levels(widen=step - joint.clearance, mouth=_MOUTH) for step in steps]
    foot = joint.foot_levels(mouth=_MOUTH)
    thinnest = min(inset for levels in sockets for inset, _ in levels)
    move = max(0.0, LINES_IN_A_WALL * joint.line_width - thinnest)
    cap_height = max(_CAP_HEIGHT, least_mark_cap(joint.line_width))
    lip = max(_LIP, cap_height + _LIP - _CAP_HEIGHT)
    room = LEAST_FOOT + 2.0 * (foot[0][0] + move)
    widest = max(advance(clearance_name(step)) for step in steps) * cap_height
    cell = max(pitch / 2.0, _LEAST_CELL, ceil(room), ceil(widest + 2.0 * _SIDE))
    names = tuple(
        Lettering(clearance_name(step), "top", (round((index + 0.5) * cell, 3), lip / 2.0), cap_height, MARK_DEPTH)
        for index, step in enumerate(steps)
    )
    own = Lettering(mark, "bottom", (round(STEPS / 2 * cell, 3), lip / 2.0), cap_height, MARK_DEPTH)
    ladder = tuple((step, _moved(levels, move)) for step, levels in zip(steps, sockets, strict=True))
    coupon = CouponShape(cell, lip, ladder, CORNER_RADIUS, joint.height, (*names, own))
    inset = joint.body_inset + move
    return coupon, PlugShape(cell, inset, _moved(foot, move), CORNER_RADIUS, joint.foot_height + _GRIP)


def clearance_name(clearance: float) -> str:
    """Return the label of a clearance: at least two decimals, without a leading zero."""
    text = f"{clearance:.4f}".rstrip("0")
    whole, _, decimals = text.partition(".")
    return f"{whole.lstrip('0')}.{decimals:0<2}"


def coupon_size(shape: CouponShape) -> tuple[float, float, float]:
    """Return the bounding box ``(x, y, z)`` of a coupon, in mm."""
    return len(shape.ladder) * shape.cell, shape.cell + shape.lip, shape.height


def plug_size(shape: PlugShape) -> tuple[float, float, float]:
    """Return the bounding box ``(x, y, z)`` of a plug, in mm."""
    side = round(shape.cell - 2.0 * shape.inset, 3)
    return side, side, shape.height


def _moved(levels: Levels, inwards: float) -> Levels:
    """Return the levels with every inset increased."""
    return tuple((inset + inwards, z) for inset, z in levels) if inwards else levels

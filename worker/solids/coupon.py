"""The coupon and its plug as closed solids: a plate of sockets of different clearance, and one foot with a grip."""

import itertools

from worker.layout.model.shapes import CouponShape, PlugShape, Socket
from worker.solids.engraving import engrave
from worker.solids.mesh import Builder, Mesh
from worker.solids.ring import rounded_rectangle
from worker.solids.tile import plate


def build_coupon(shape: CouponShape) -> Mesh:
    """Return the solid of a coupon, mm: sockets in a row, each with its own levels, behind a lip that names them.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    side = shape.cell
    across, back = len(shape.ladder) * side, shape.lip + side
    sockets = [(Socket(index * side, shape.lip, side, side), levels) for index, (_, levels) in enumerate(shape.ladder)]
    return plate(
        rounded_rectangle(0.0, 0.0, across, back, 0.0, shape.corner_radius), (), sockets,
        corner_radius=shape.corner_radius, height=shape.height, letterings=shape.letterings,
    )  # fmt: skip


def coupon_genus(shape: CouponShape) -> int:
    """Return the genus that a coupon's solid must have: the number of its sockets."""
    return len(shape.ladder)


def build_plug(shape: PlugShape) -> Mesh:
    """Return the solid of a plug, mm: a tray's foot, and above its shoulder a solid grip up to the plug's height.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    builder = Builder()
    levels = (*shape.foot_levels, (shape.foot_levels[-1][0], shape.height))
    rings = [
        builder.ring(
            rounded_rectangle(-shape.inset, -shape.inset, shape.cell, shape.cell, inset, shape.corner_radius), z
        )
        for inset, z in levels
    ]
    for lower, upper in itertools.pairwise(rings):
        builder.strip(lower, upper)
    text_top, text_bottom = engrave(builder, shape.letterings, shape.height)
    builder.fill([rings[-1], *text_top], up=True)
    builder.fill([rings[0], *text_bottom], up=False)
    return builder.mesh()

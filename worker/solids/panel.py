"""Strips, end shoes and clips of panels as closed solids, built without booleans."""

import itertools

import numpy as np

from worker.layout.model.shapes import ClipShape, ShoeShape, StripShape
from worker.layout.tray.pockets.pocket_outline import mitred
from worker.solids.engraving import engrave
from worker.solids.mesh import Builder, Mesh
from worker.solids.ring import Ring2, rounded_rectangle
from worker.spec.drawer.joint import FIRST_LAYER_RELIEF


def build_strip(shape: StripShape) -> Mesh:
    """Return the solid of a strip, mm: its outline, narrower at the first layers, up to its thickness.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    outline = np.array(shape.outline)
    return _prism(
        [(mitred(outline, -FIRST_LAYER_RELIEF), 0.0), (outline, FIRST_LAYER_RELIEF), (outline, shape.height)], shape
    )


def build_shoe(shape: ShoeShape) -> Mesh:
    """Return the solid of an end shoe, mm.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    outline = np.array(shape.outline)
    return _prism(
        [(np.array(shape.bottom), 0.0), (outline, FIRST_LAYER_RELIEF), (outline, shape.height)], shape
    )  # fmt: skip


def _prism(levels: list[tuple[Ring2, float]], shape: StripShape | ShoeShape) -> Mesh:
    """Return the solid between rings ``(n, 2) float64``, mm, at their heights, with letterings in its faces."""
    builder = Builder()
    rings = [builder.ring(ring, z) for ring, z in levels]
    for lower, upper in itertools.pairwise(rings):
        builder.strip(lower, upper)
    text_top, text_bottom = engrave(builder, shape.letterings, levels[-1][1])
    builder.fill([rings[-1], *text_top], up=True)
    builder.fill([rings[0], *text_bottom], up=False)
    return builder.mesh()


def build_clip(shape: ClipShape) -> Mesh:
    """Return the solid of a clip, mm: rings of the base, and on it two cheeks with a chamfer at the mouth.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    builder = Builder()
    (width, length), top = shape.size, shape.height
    rings = [
        builder.ring(rounded_rectangle(0.0, 0.0, width, length, inset, shape.corner_radius), z)
        for inset, z in shape.levels
    ]
    for lower, upper in itertools.pairwise(rings):
        builder.strip(lower, upper)
    deck = shape.levels[-1][1]
    feet = []
    for number, (low, high) in enumerate(shape.cheeks):
        # the first cheek's mouth is at its high end, the second's at its low end
        mouth = (low, high - shape.lead) if number == 0 else (low + shape.lead, high)
        walls = [
            builder.ring(_rectangle(across, shape.span), z)
            for across, z in (((low, high), deck), ((low, high), top - shape.lead), (mouth, top))
        ]
        for lower, upper in itertools.pairwise(walls):
            builder.strip(lower, upper)
        builder.cap(walls[-1], up=True)
        feet.append(walls[0])
    _, text_bottom = engrave(builder, shape.letterings, deck)
    builder.cap(rings[-1], feet, up=True)
    builder.fill([rings[0], *text_bottom], up=False)
    return builder.mesh()


def _rectangle(across: tuple[float, float], along: tuple[float, float]) -> Ring2:
    (left, right), (front, back) = across, along
    return np.array([[left, front], [right, front], [right, back], [left, back]])

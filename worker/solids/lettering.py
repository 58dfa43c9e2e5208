"""Letterings as plane regions: the outlines of a text in the plane of its face."""

from functools import lru_cache

import manifold3d
import numpy as np
from numpy.typing import NDArray

from worker.layout.model.shapes import Lettering
from worker.layout.tray.font import placed
from worker.solids.ring import on_grid

#: Points nearer than this are merged, mm: overlapping contours, as of an accent and its letter, may cross near one.
_WELD = 2e-3


def cross_section(lettering: Lettering) -> manifold3d.CrossSection:
    """Return the region of a text, mm, its middle at 0, 0, turned counter-clockwise by ``turn`` degrees.

    The middle is half the width of the outlines and half the height of a capital. Points lie on the coordinate grid.

    Raises:
        TrayError: when the typeface lacks a character of the lettering.
    """
    return manifold3d.CrossSection(list(outlines(lettering.text, lettering.cap_height, lettering.turn)))


@lru_cache(maxsize=256)
def outlines(text: str, cap_height: float, turn: float) -> tuple[NDArray[np.float64], ...]:
    """Return the rings of a text's region about its middle, ``(n, 2) float64``, mm, each, read-only.

    Outer rings are counter-clockwise, holes clockwise; none crosses or touches another. Points lie on the coordinate
    grid. ``cap_height`` is in mm, ``turn`` in degrees counter-clockwise.

    Raises:
        TrayError: when the typeface lacks a character of the text.
    """
    line = placed(text)
    if not line:
        return ()
    every = np.concatenate(line)
    middle = np.array([(every[:, 0].min() + every[:, 0].max()) / 2.0, 0.5])
    angle = np.radians(turn)
    turned = cap_height * np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    rings = [on_grid((contour - middle) @ turned) for contour in line]
    region = manifold3d.CrossSection(rings, manifold3d.FillRule.NonZero).simplify(_WELD)
    clean = tuple(on_grid(np.asarray(ring, dtype=np.float64)) for ring in region.to_polygons())
    for ring in clean:
        ring.setflags(write=False)
    return clean

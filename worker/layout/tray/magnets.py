"""Magnets: recesses under a tray's feet."""

from math import sqrt

from worker.layout.model.shapes import MagnetHoles, Point
from worker.layout.tray.interior import LEAST_COVER, LETTER_DEPTH, Room, on_grid
from worker.spec.drawer.joint import CORNER_RADIUS, LEAST_RADIUS, Levels
from worker.spec.tolerances import LENGTH_EPSILON, ROOF_MOST


def tray_magnets(room: Room, levels: Levels, *, pitch: float, half_feet: bool) -> MagnetHoles | None:
    """Return the recesses in the feet, as far out as two lines of plastic allow; in a half foot, in its middle.

    By default one stands near each outer corner of the tray; ``per_cell`` puts four in each whole foot and one in each
    half foot. The roof of a recess wider than `ROOF_MOST` narrows to that at 45 degrees, as far as the floor allows.

    Args:
        room: the tray's room.
        levels: the foot.
        pitch: side of a cell.
        half_feet: whether the tray stands on half feet.

    Raises:
        TrayError: when a foot is too small or the floor over the recess would be too thin.
    """
    magnets = room.tray.magnets
    if magnets is None:
        return None
    side = pitch / 2.0 if half_feet else pitch
    inset = levels[0][0]
    bottom = side - 2.0 * inset
    columns, rows = (round(cells * (2 if half_feet else 1)) for cells in room.tray.cells)
    two_abreast = not half_feet and (magnets.per_cell or 1 in (columns, rows))
    most = (bottom - 3.0 * room.lines) / 2.0 if two_abreast else bottom - 2.0 * room.lines
    if magnets.diameter > most + LENGTH_EPSILON:
        raise room.refusal(
            "its magnets are too wide for its feet.", "magnets", "diameter",
            value=magnets.diameter, limit=f"at most {on_grid(most):g} mm", remedy="Take smaller magnets.",
        )  # fmt: skip
    text = room.tray.text
    engraved = (text is not None and text.face == "floor" and text.style == "engraved") or any(
        pocket.text for pocket in room.tray.pockets
    )
    deepest = on_grid(room.floor_top - LEAST_COVER - (LETTER_DEPTH if engraved else 0.0))
    if magnets.depth > deepest + LENGTH_EPSILON:
        raise room.refusal(
            "its magnets are too deep for its floor.", "magnets", "depth",
            value=magnets.depth, limit=f"at most {deepest:g} mm", remedy="Take thinner magnets or a thicker floor.",
        )  # fmt: skip
    near = side / 2.0 if half_feet else _edge_distance(magnets.diameter / 2.0 + room.lines, inset)
    air = (side * columns - room.outer[0]) / 2.0
    across, deep = (_along(feet, side, near, every=magnets.per_cell) for feet in (columns, rows))
    centres: tuple[Point, ...] = tuple((on_grid(x - air), on_grid(y - air)) for y in deep for x in across)
    taper = on_grid(min(max((magnets.diameter - ROOF_MOST) / 2.0, 0.0), max(deepest - magnets.depth, 0.0)))
    return MagnetHoles(magnets.diameter, magnets.depth, centres, taper)


def _along(feet: int, side: float, near: float, *, every: bool) -> tuple[float, ...]:
    """Return the recesses' middles along one axis of the tray, in mm from the first cell's edge, in rising order.

    Args:
        feet: how many feet stand in a row.
        side: of a foot's cell.
        near: distance of a middle from the edge of its cell.
        every: two in each foot, instead of the outermost two of the row; equal middles count once.
    """
    row = sorted({foot * side + at for foot in range(feet) for at in (near, side - near)})
    return tuple(row) if every else tuple(sorted({row[0], row[-1]}))


def _edge_distance(reach: float, inset: float) -> float:
    """Return how far a recess's middle stands from both sides of a whole foot's cell, near its corner, in mm.

    Args:
        reach: the recess's radius and the plastic around it.
        inset: of the foot's bottom.
    """
    corner = max(CORNER_RADIUS - inset, LEAST_RADIUS)
    # Where the corner is rounder than the recess, it is the arc that keeps it in, not the two sides.
    return inset + (reach if reach >= corner else corner - (corner - reach) / sqrt(2.0))

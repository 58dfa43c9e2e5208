"""The text of a tray, on its front, floor or label ledge."""

from collections.abc import Iterator
from math import hypot
from typing import Final

from worker.layout.model.shapes import Ledge, Lettering, Point, Ramp, Wall
from worker.layout.tray.dividers import at_back, spans
from worker.layout.tray.font import extent, least_cap, missing
from worker.layout.tray.interior import LEAST_COVER, LETTER_DEPTH, Room, on_grid
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.drawer.tray import Text
from worker.spec.tolerances import LENGTH_EPSILON

#: Margin between a text and the next edge, in mm.
_MARGIN: Final = 1.0

#: Largest default cap height in mm.
_MOST_CAP: Final = 8.0

#: Minimum depth of an engraving in mm: one layer.
LEAST_DEPTH: Final = 0.2


def tray_letterings(
    room: Room, walls: tuple[Wall, ...], ramp: Ramp | None, ledge: Ledge | None
) -> tuple[Lettering, ...]:
    """Return the tray's text and the labels on its ledge.

    A text with a cap height too small to print is left out, see `left_out`.

    Raises:
        TrayError: if it does not fit its face, or the face is too thin for an engraving.
    """
    labels = () if ledge is None else tuple(_labels(room, walls, ledge))
    text = room.tray.text
    if text is None or left_out(text, room.line_width):
        return labels
    check_letters(room, text.text, "text", "text")
    if text.face == "front":
        return (_front(room, text), *labels)
    if text.face == "ledge" and ledge is not None:
        return (_on_ledge(room, text, ledge),)
    return (_on_floor(room, text, walls, ramp, ledge), *labels)


def left_out(text: Text, line_width: float) -> bool:
    """Return whether a text is left out, since its cap height is too small for lines of this width."""
    return text.cap_height is not None and text.cap_height < least_cap(line_width) - LENGTH_EPSILON


def check_letters(room: Room, text: str, *at: str | int) -> None:
    """Check that the font has all characters of a text.

    Raises:
        TrayError: with those that it lacks.
    """
    unknown = missing(text)
    if unknown:
        raise room.refusal(
            "its text has characters that the font lacks.", *at,
            value=unknown, limit="Latin letters, digits and common signs", remedy="Use other characters.",
        )  # fmt: skip


def _labels(room: Room, walls: tuple[Wall, ...], ledge: Ledge) -> Iterator[Lettering]:
    """Yield the labels on the ledge's slope, each behind its compartment."""
    slope = hypot(ledge.depth, ledge.drop)
    columns = spans(room, at_back(room, walls), "x")
    if len(room.tray.labels) > len(columns):
        raise room.refusal(
            "it has more labels than compartments along the back.", "labels", len(columns),
            value=room.tray.labels[len(columns)], limit=f"at most {len(columns)} labels",
            remedy="Remove labels, or let dividers reach the back.",
        )  # fmt: skip
    for index, (label, (left, right)) in enumerate(zip(room.tray.labels, columns, strict=False)):
        if label is not None:
            check_letters(room, label, "labels", index)
            size = (right - left - 2.0 * _MARGIN, slope - 2.0 * _MARGIN)
            text = Text(text=label, face="ledge")
            yield _lettering(room, text, ((left + right) / 2.0, slope / 2.0), size, LETTER_DEPTH)


def _front(room: Room, text: Text) -> Lettering:
    """Return the text on the outer front wall, between the foot and the rim."""
    if text.style == "raised":
        raise room.refusal(
            "raised text on its front would touch the neighbouring tray.", "text", "style",
            value="raised", limit="engraved on the front", remedy="Engrave it, or raise it on the floor or the ledge.",
        )  # fmt: skip
    depth = on_grid(min(LETTER_DEPTH, room.wall - room.lines))
    if depth < LEAST_DEPTH - LENGTH_EPSILON:
        raise room.refusal(
            "its wall is too thin for engraved text.", "wall",
            value=room.wall, limit=f"at least {on_grid(room.lines + LEAST_DEPTH):g} mm",
            remedy="Make the wall thicker, or put the text on the floor.",
        )  # fmt: skip
    low, high = room.foot_height + _MARGIN, room.wall_top - _MARGIN
    size = (room.outer[0] - 2.0 * (CORNER_RADIUS + _MARGIN), high - low)
    return _lettering(room, text, (room.outer[0] / 2.0, (low + high) / 2.0), size, depth)


def _on_ledge(room: Room, text: Text, ledge: Ledge) -> Lettering:
    """Return the text on the ledge's slope."""
    slope = hypot(ledge.depth, ledge.drop)
    size = (room.inner[0] - 2.0 * _MARGIN, slope - 2.0 * _MARGIN)
    return _lettering(room, text, (room.outer[0] / 2.0, slope / 2.0), size, LETTER_DEPTH)


def _on_floor(room: Room, text: Text, walls: tuple[Wall, ...], ramp: Ramp | None, ledge: Ledge | None) -> Lettering:
    """Return the text on the floor of the largest compartment."""
    if room.tray.pockets:
        raise room.refusal(
            "its pockets leave no floor for text.",
            "text",
            "face",
            value="floor",
            limit="front",
            remedy="Put it on the front.",
        )
    raised = text.style == "raised"
    depth = LETTER_DEPTH if raised else on_grid(min(LETTER_DEPTH, room.tray.floor - LEAST_COVER))
    if depth < LEAST_DEPTH - LENGTH_EPSILON:
        raise room.refusal(
            "its floor is too thin for engraved text.", "floor",
            value=room.tray.floor, limit=f"at least {on_grid(LEAST_COVER + LEAST_DEPTH):g} mm",
            remedy="Make the floor thicker, or raise the text.",
        )  # fmt: skip
    columns, rows = spans(room, walls, "x"), list(spans(room, walls, "y"))
    if ramp is not None:
        ramped = len(rows) if ramp.inner else 1
        rows = [(start + (ramp.radius if row < ramped else 0.0), end) for row, (start, end) in enumerate(rows)]
    rows[-1] = (rows[-1][0], rows[-1][1] - (ledge.depth if ledge is not None else 0.0))
    # the largest compartment; of equal ones the first, front to back, then left to right
    left, right = max(columns, key=lambda span: round(span[1] - span[0], 3))
    front, back = max(rows, key=lambda span: round(span[1] - span[0], 3))
    margin = _MARGIN + room.corner * 0.3  # more than the rounding takes off the corner
    size = (right - left - 2.0 * margin, back - front - 2.0 * margin)
    return _lettering(room, text, ((left + right) / 2.0, (front + back) / 2.0), size, depth)


def _lettering(room: Room, text: Text, middle: Point, size: Point, depth: float) -> Lettering:
    """Return the text with its outlines centred on a face of this size (mm)."""
    left, low, right, high = extent(text.text)
    most = min(size[0] / max(right - left, LENGTH_EPSILON), size[1] / max(high - low, LENGTH_EPSILON))
    cap = _cap_height(room, text, most, size)
    # a lettering is positioned by the centre of its capitals; descenders and accents extend further
    at = (on_grid(middle[0]), on_grid(middle[1] - cap * ((low + high) / 2.0 - 0.5)))
    return Lettering(text.text, text.face, at, cap, depth, raised=text.style == "raised")


def _cap_height(room: Room, text: Text, most: float, size: Point) -> float:
    """Return the cap height in mm: as given, or the largest that fits."""
    if text.cap_height is not None:
        if text.cap_height > most + LENGTH_EPSILON:
            raise room.refusal(
                "its text does not fit.", "text", "cap_height",
                value=text.cap_height, limit=f"at most {max(on_grid(most), 0.0):g} mm on the {text.face}",
                remedy="Make the letters smaller, the text shorter, or choose another face.",
            )  # fmt: skip
        return text.cap_height
    least = least_cap(room.line_width)
    if most < least:
        width, depth = (max(side, 0.0) for side in size)
        raise room.refusal(
            "its text does not fit.", "text", "text",
            value=text.text, limit=f"capitals of {least:g} mm on {width:.1f} x {depth:.1f} mm",
            remedy="Make the text shorter, or choose another face.",
        )  # fmt: skip
    return on_grid(max(min(_MOST_CAP, int(most * 10.0) / 10.0), least))

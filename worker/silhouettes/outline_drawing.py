"""A silhouette as a drawing: its outline at full size with its dimensions, as SVG."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final
from xml.sax.saxutils import escape

__all__ = ["draw_outline"]

#: Free space around the outline, and the size of text, in mm.
_MARGIN: Final = 12.0
_TEXT: Final = 4.0
_INK: Final = "#1d3557"
_FILL: Final = "#a8dadc"


def draw_outline(outline: Mapping[str, Any], name: str) -> str:
    """Return an SVG drawing of an outline document (`Silhouette.document`) at full size, the back at the top."""
    points: Sequence[Sequence[float]] = outline["outer"]
    xs, ys = [x for x, _ in points], [y for _, y in points]
    left, front, right, back = min(xs), min(ys), max(xs), max(ys)
    width, depth = right - left, back - front
    rings = [_path(ring) for ring in (points, *outline["holes"])]
    height = "" if outline["depth"] is None else f", {outline['depth']:.1f} mm high"
    title = f"{name}: {width:.1f} x {depth:.1f} mm{height}"
    box = (left - _MARGIN, -back - _MARGIN, width + 2 * _MARGIN, depth + 2 * _MARGIN)
    view = " ".join(f"{value:.3f}" for value in box)
    size = f'width="{box[2]:.3f}mm" height="{box[3]:.3f}mm"'
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="{view}" role="img">',
        f"<title>{escape(title)}</title>",
        f'<path d="{" ".join(rings)}" fill="{_FILL}" fill-rule="evenodd" stroke="{_INK}" stroke-width="0.3"/>',
        _across((left, -front + 5.0), (right, -front + 5.0), f"{width:.1f}"),
        _across((left - 5.0, -front), (left - 5.0, -back), f"{depth:.1f}"),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _path(ring: Iterable[Sequence[float]]) -> str:
    return "M" + "L".join(f"{x:.3f},{-y:.3f}" for x, y in ring) + "Z"


def _across(start: tuple[float, float], end: tuple[float, float], text: str) -> str:
    """Return a dimension line from a point to another, left to right or upwards, with its text beside it."""
    middle = ((start[0] + end[0]) / 2.0, (start[1] + end[1]) / 2.0)
    upright = start[0] == end[0]
    turn = f' transform="rotate(-90 {middle[0]:.3f} {middle[1]:.3f})"' if upright else ""
    offset = -1.2 if upright else _TEXT + 0.8
    ends = "".join(
        f"M{x - 1:.3f},{y:.3f}h2" if upright else f"M{x:.3f},{y - 1:.3f}v2" for x, y in (start, end)
    )  # fmt: skip
    return (
        f'<path d="M{start[0]:.3f},{start[1]:.3f}L{end[0]:.3f},{end[1]:.3f}{ends}" stroke="{_INK}" '
        f'stroke-width="0.2" fill="none"/><text x="{middle[0]:.3f}" y="{middle[1] + offset:.3f}" '
        f'font-family="sans-serif" font-size="{_TEXT:g}" text-anchor="middle" fill="{_INK}"{turn}>{text}</text>'
    )

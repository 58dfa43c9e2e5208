"""A drawing's silhouette: the outline that its loops enclose on the chosen layer, in the chosen colour."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np
import shapely

from worker.silhouettes.drawing.dxf import read_dxf
from worker.silhouettes.drawing.loops import JOIN_GAP, LoopOutlines, outlines_of
from worker.silhouettes.drawing.polyline import FLATNESS, Polyline
from worker.silhouettes.drawing.svg import PIXEL, read_svg
from worker.silhouettes.errors import DrawingRefused
from worker.silhouettes.silhouette import Silhouette

__all__ = ["UNITS", "DrawingFormat", "DrawingOptions", "DrawingUnit", "read_drawing"]

DrawingFormat: TypeAlias = Literal["svg", "dxf"]
DrawingUnit: TypeAlias = Literal["mm", "cm", "in", "pt", "px"]

#: Units that a caller can name, in mm: the inch of ISO 80000-3, points and pixels of CSS Values and Units 4, 6.2.
UNITS: Final[dict[DrawingUnit, float]] = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72.0, "px": PIXEL}

_READERS: Final[dict[DrawingFormat, Callable[[bytes, float | None], tuple[list[Polyline], list[str]]]]] = {
    "svg": read_svg,
    "dxf": read_dxf,
}

#: Layers or colours that a problem lists.
_MOST_LISTED: Final = 12


@dataclass(frozen=True, slots=True)
class DrawingOptions:
    """What to read of a drawing.

    Attributes:
        unit: unit of its coordinates, if the file does not say one.
        layer: layer (DXF) or id of an outermost group (SVG) to read; None for all.
        colour: colour to read as `#rrggbb`; None for all.
        outline: which outline to take if there are several, from 1, the largest; None if there is only one.
        depth: height of the thing, mm; a drawing does not say it.
    """

    unit: DrawingUnit | None = None
    layer: str | None = None
    colour: str | None = None
    outline: int | None = None
    depth: float | None = None


def read_drawing(content: bytes, kind: DrawingFormat, options: DrawingOptions) -> Silhouette:
    """Return the silhouette of a drawing.

    Raises:
        DrawingRefused: if it cannot be read, or does not say which outline is meant; the problem lists the choices.
        SilhouetteError: if the outline is too small or too large.
    """
    unit = None if options.unit is None else UNITS[options.unit]
    lines, warnings = _READERS[kind](content, unit)
    lines = [line for line in lines if np.isfinite(line.points).all()]
    chosen = _chosen(lines, options)
    outlines = outlines_of(chosen)
    polygon = _outline(outlines, lines, options)
    if outlines.open_lines and outlines.gap is not None:
        width, x, y = outlines.gap
        warnings.append(
            f"Left out: {outlines.open_lines} open lines. "
            f"The closest ends are {width:.2f} mm apart at {x:.1f}, {y:.1f}."
        )
    if outlines.merged:
        warnings.append("Lines cross or branch; the outline goes round all that they enclose. Look at it.")
    # the outline starts at the origin, wherever it lay in the drawing
    left, front, _, _ = polygon.bounds
    placed = shapely.transform(polygon, lambda points: points - (left, front))
    return Silhouette.of_polygon(
        placed, method="drawing", uncertainty=FLATNESS, depth=options.depth, warnings=warnings,
        details={"format": kind, "lines": float(len(chosen))},
    )  # fmt: skip


def _chosen(lines: Sequence[Polyline], options: DrawingOptions) -> list[Polyline]:
    for field, value in (("layer", options.layer), ("colour", options.colour)):
        names = Counter(str(getattr(line, field)) for line in lines)
        if value is not None and _key(value) not in map(_key, names):
            raise DrawingRefused(
                f"Nothing is drawn on this {field}." if field == "layer" else "Nothing is drawn in this colour.",
                reason=f"no-such-{field}", pointer=f"/{field}", value=value, limit=_listed(names),
                remedy="Choose one that the drawing has.",
            )  # fmt: skip
    return [
        line
        for line in lines
        if (options.layer is None or _key(line.layer) == _key(options.layer))
        and (options.colour is None or _key(line.colour) == _key(options.colour))
    ]


def _outline(outlines: LoopOutlines, lines: Sequence[Polyline], options: DrawingOptions) -> shapely.Polygon:
    count = len(outlines.polygons)
    if not count:
        if outlines.gap is None:
            raise DrawingRefused(
                "The drawing has no lines.", reason="empty", remedy="Convert text and symbols to paths; check layers."
            )
        width, x, y = outlines.gap
        raise DrawingRefused(
            f"No line is closed: the closest ends are {width:.2f} mm apart at {x:.1f}, {y:.1f}.",
            reason="open-outline", value=round(width, 3), limit=f"ends at most {JOIN_GAP} mm apart",
            remedy="Close the outline in the drawing.",
        )  # fmt: skip
    if options.outline is None:
        if count == 1:
            return outlines.polygons[0]
        layers, colours = (Counter(getattr(line, field) for line in lines) for field in ("layer", "colour"))
        raise DrawingRefused(
            f"The drawing has {count} outlines.", reason="several-outlines", pointer="/outline",
            value=[_size(polygon) for polygon in outlines.polygons[:_MOST_LISTED]],
            limit=f"one outline; layers: {_listed(layers)}; colours: {_listed(colours)}",
            remedy="Choose a layer or a colour, or the number of the outline, from 1, the largest.",
        )  # fmt: skip
    if options.outline > count:
        raise DrawingRefused(
            "There is no such outline.", reason="no-such-outline", pointer="/outline", value=options.outline,
            limit=f"1 to {count}", remedy="Choose one that the drawing has; 1 is the largest.",
        )  # fmt: skip
    return outlines.polygons[options.outline - 1]


def _key(name: str) -> str:
    return name.strip().casefold()


def _size(polygon: shapely.Polygon) -> str:
    left, front, right, back = polygon.bounds
    return f"{right - left:.1f} x {back - front:.1f} mm"


def _listed(names: "Counter[str]") -> str:
    most = [f"{name or 'none'} ({count})" for name, count in names.most_common(_MOST_LISTED)]
    return ", ".join(most) + (", ..." if len(names) > _MOST_LISTED else "")

"""SVG drawings to polylines: basic shapes and paths, as SVG 2 defines them, in mm."""

import io
import re
from collections.abc import Iterator
from math import acos, ceil, isfinite, sqrt
from typing import Any, Final
from xml.etree import ElementTree as ET

import numpy as np
import svgelements
from numpy.typing import NDArray

from worker.silhouettes.drawing.polyline import FLATNESS, MOST_POINTS, Polyline
from worker.silhouettes.errors import DrawingRefused
from worker.silhouettes.xml_guard import MOST_ELEMENTS, read_xml

__all__ = ["PIXEL", "read_svg"]

#: A pixel of CSS in mm: 96 to the inch (CSS Values and Units 4, 6.2).
PIXEL: Final = 25.4 / 96.0

_PPI: Final = 96.0

#: Absolute units of CSS other than the pixel, in which a width says how large a drawing is, in mm.
_PHYSICAL: Final = {"mm": 1.0, "cm": 10.0, "q": 0.25, "in": 25.4, "pt": 25.4 / 72.0, "pc": 25.4 / 6.0}
_SIZE: Final = re.compile(r"\s*\+?([0-9.]+(?:[eE][-+]?[0-9]+)?)\s*(mm|cm|q|in|pt|pc)\s*", re.IGNORECASE)

#: Elements that are drawn only where others refer to them, or are no outlines.
_NOT_DRAWN: Final = frozenset(
    {"symbol", "clipPath", "mask", "marker", "pattern", "linearGradient", "radialGradient", "filter", "script"}
)
_NO_OUTLINE: Final = frozenset({"text", "image", "foreignObject", "symbol"})

_LAYER: Final = "data-outermost-group"
_HREF: Final = ("href", "{http://www.w3.org/1999/xlink}href")


def read_svg(content: bytes, unit: float | None) -> tuple[list[Polyline], list[str]]:
    """Return the lines of a drawing, and what was left out.

    Args:
        content: the file.
        unit: length of a unit of its coordinates in mm, used if its width and height have no unit of length.

    Raises:
        DrawingRefused: if it is no SVG, exceeds a limit, or needs a unit that is not given.
    """
    root = read_xml(content, DrawingRefused)
    if _tag(root) != "svg":
        raise DrawingRefused("The file is no SVG.", reason="not-svg", value=_tag(root), remedy="Export it as SVG.")
    warnings = []
    physical = _in_pixels(root)
    if not physical:
        if unit is None:
            raise DrawingRefused(
                "The drawing does not say how large it is.", reason="no-unit", pointer="/unit",
                value=root.get("width"), limit="a unit: mm, cm, in, pt or px",
                remedy="Give the unit of its coordinates, or a width and height in mm in the file.",
            )  # fmt: skip
        _in_own_units(root)
    elif unit is not None:
        warnings.append("The drawing says its unit itself, so `unit` was not used.")
    left_out = sorted({_tag(element) for element in root.iter()} & _NO_OUTLINE)
    if left_out:
        warnings.append(f"Left out: {', '.join(left_out)}. Convert text and symbols to paths if they matter.")
    _prepare(root)
    _check_uses(root)
    scale = PIXEL if physical or unit is None else unit
    try:
        drawing = svgelements.SVG.parse(io.BytesIO(ET.tostring(root)), ppi=_PPI, reify=True)
        return list(_polylines(drawing, scale)), warnings
    except (DrawingRefused, MemoryError):
        raise
    except Exception as fault:
        # the reader meets numbers and references of strangers with errors of many kinds
        raise DrawingRefused(
            "The drawing cannot be read.", reason="unreadable", value=type(fault).__name__,
            remedy="Export it again, as plain SVG.",
        ) from fault  # fmt: skip


def _tag(element: ET.Element) -> str:
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def _in_pixels(root: ET.Element) -> bool:
    """Replace the drawing's width and height by pixels; return whether both have a unit of length."""
    sizes = {side: _SIZE.fullmatch(root.get(side, "")) for side in ("width", "height")}
    for side, size in sizes.items():
        if size is None or size[1].count(".") > 1:
            return False
        root.set(side, repr(float(size[1]) * _PHYSICAL[size[2].lower()] / PIXEL))
    return True


def _in_own_units(root: ET.Element) -> None:
    """Let a pixel be a unit of the drawing's coordinates, whatever its width and height are."""
    box = re.split(r"[\s,]+", root.get("viewBox", "").strip())
    for name in ("width", "height"):
        root.attrib.pop(name, None)
    if len(box) == 4:  # noqa: PLR2004 - left, top, width, height (SVG 2, 8.6)
        root.set("width", box[2])
        root.set("height", box[3])


def _prepare(root: ET.Element) -> None:
    """Remove what is never drawn by itself, and mark the children of the outermost groups."""
    for parent in list(root.iter()):
        for child in [child for child in parent if _tag(child) in _NOT_DRAWN]:
            parent.remove(child)
    for child in root:
        if _tag(child) == "g" and child.get("id"):
            child.set(_LAYER, child.get("id", ""))


def _check_uses(root: ET.Element) -> None:
    """Check how many elements there are once all references are followed.

    Raises:
        DrawingRefused: if they are too many, or an element refers to itself.
    """
    by_id = {element.get("id"): element for element in root.iter() if element.get("id")}
    counts: dict[int, int] = {}
    pending: set[int] = set()

    def count(element: ET.Element) -> int:
        if id(element) in counts:
            return counts[id(element)]
        if id(element) in pending:
            raise _uses("a reference that leads to itself")
        pending.add(id(element))
        total = 1 + sum(map(count, element))
        if _tag(element) == "use":
            target = by_id.get(next((element.get(name, "") for name in _HREF if element.get(name)), "").lstrip("#"))
            total += 0 if target is None else count(target)
        pending.discard(id(element))
        if total > MOST_ELEMENTS:
            raise _uses(f"more than {MOST_ELEMENTS} elements")
        counts[id(element)] = total
        return total

    try:
        count(root)
    except RecursionError:
        raise _uses("references that are nested too deep") from None


def _uses(what: str) -> DrawingRefused:
    return DrawingRefused(
        f"The drawing has {what}.", reason="too-large", limit=f"at most {MOST_ELEMENTS} elements, references followed",
        remedy="Export only the outline, without references (`use`).",
    )  # fmt: skip


def _polylines(drawing: svgelements.SVG, scale: float) -> Iterator[Polyline]:
    total = 0
    for element in drawing.elements():
        if not isinstance(element, svgelements.Shape) or element.values.get("visibility") in {"hidden", "collapse"}:
            continue
        for points, closed in _subpaths(svgelements.Path(element).reify(), FLATNESS / scale):
            total += len(points)
            if total > MOST_POINTS:
                raise DrawingRefused(
                    "The drawing is too detailed.", reason="too-large", value=total,
                    limit=f"at most {MOST_POINTS} points at {FLATNESS} mm",
                    remedy="Check the unit; simplify the paths.",
                )  # fmt: skip
            # y points down in SVG, to the back here
            yield Polyline(points * (scale, -scale), closed, element.values.get(_LAYER) or "", _colour(element))


def _colour(element: Any) -> str:
    for paint in (element.stroke, element.fill):
        if paint is not None and paint.value is not None:
            return str(paint.hexrgb).lower()
    return ""


def _subpaths(path: svgelements.Path, flatness: float) -> Iterator[tuple[NDArray[np.float64], bool]]:
    points: list[Any] = []
    for segment in path:
        if isinstance(segment, svgelements.Move):
            if len(points) > 1:
                yield _array(points), False
            points = [segment.end]
        elif isinstance(segment, svgelements.Close):
            if len(points) > 1:
                yield _array(points), True
            points = [segment.end]
        else:
            points.extend(_flattened(segment, flatness))
    if len(points) > 1:
        yield _array(points), False


def _array(points: list[Any]) -> NDArray[np.float64]:
    return np.array([(point[0], point[1]) for point in points], dtype=np.float64)


def _flattened(segment: Any, flatness: float) -> list[Any]:
    """Return the points of a segment after its start.

    The chords of a curve are off by at most ``max |B''| h^2 / 8`` (error of linear interpolation), those of an arc by
    its sagitta, ``r (1 - cos(h / 2))``.
    """
    match segment:
        case svgelements.QuadraticBezier():
            bend = 2.0 * abs(segment.start - 2.0 * segment.control + segment.end)
            steps = sqrt(bend / (8.0 * flatness))
        case svgelements.CubicBezier():
            first = abs(segment.start - 2.0 * segment.control1 + segment.control2)
            last = abs(segment.control1 - 2.0 * segment.control2 + segment.end)
            steps = sqrt(6.0 * max(first, last) / (8.0 * flatness))
        case svgelements.Arc():
            radius = max(abs(segment.rx), abs(segment.ry))
            steps = abs(segment.sweep) / (2.0 * acos(max(0.0, 1.0 - flatness / radius))) if radius else 1.0
        case _:
            return [segment.end]
    if not isfinite(steps) or steps > MOST_POINTS:
        raise ValueError(steps)
    count = max(1, ceil(steps))
    return [*(segment.point(step / count) for step in range(1, count)), segment.end]

"""DXF drawings to polylines: lines, arcs and curves of the model space, with blocks, in mm."""

import io
from collections.abc import Iterable
from typing import Any, Final

import numpy as np
from ezdxf import colors, recover
from ezdxf.disassemble import recursive_decompose
from ezdxf.document import Drawing
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.entities.insert import Insert
from ezdxf.entities.line import Line
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.entities.polyline import Polyline as Polyline2d
from ezdxf.math import Vec3

from worker.silhouettes.drawing.polyline import FLATNESS, MOST_POINTS, Polyline
from worker.silhouettes.errors import DrawingRefused

__all__ = ["read_dxf"]

#: Lines of an ASCII file: ezdxf reads 100,000 in about 10 s.
_MOST_LINES: Final = 200_000

#: Entities once all blocks are in their places, and how deep blocks may be nested.
_MOST_ENTITIES: Final = 20_000
_DEEPEST: Final = 16

_LINES: Final = frozenset({"LINE", "LWPOLYLINE", "POLYLINE", "CIRCLE", "ARC", "ELLIPSE", "SPLINE"})

_BY_BLOCK, _BY_LAYER = 0, 256

_SURVEY_FOOT: Final = 1_200_000.0 / 3_937.0

#: Units of `$INSUNITS` in mm (DXF reference, HEADER section), without those of astronomy.
_UNITS: Final = {
    1: 25.4, 2: 304.8, 3: 1_609_344.0, 4: 1.0, 5: 10.0, 6: 1e3, 7: 1e6, 8: 25.4e-6, 9: 25.4e-3, 10: 914.4,
    11: 1e-7, 12: 1e-6, 13: 1e-3, 14: 100.0, 15: 1e4, 16: 1e5,
    21: _SURVEY_FOOT, 22: _SURVEY_FOOT / 12.0, 23: 3.0 * _SURVEY_FOOT, 24: 5280.0 * _SURVEY_FOOT,
}  # fmt: skip


def read_dxf(content: bytes, unit: float | None) -> tuple[list[Polyline], list[str]]:
    """Return the lines of a drawing, and what was left out.

    Args:
        content: the file, ASCII or binary.
        unit: length of a unit in mm, used if the header's `$INSUNITS` is 0 or missing.

    Raises:
        DrawingRefused: if it is no DXF, exceeds a limit, or needs a unit that is not given.
    """
    if content.count(b"\n") > _MOST_LINES:
        raise _too_large("The file is too long.", content.count(b"\n"), f"at most {_MOST_LINES} lines")
    try:
        document = recover.read(io.BytesIO(content))[0]
        return _read(document, unit)
    except (DrawingRefused, MemoryError):
        raise
    except Exception as fault:
        # the reader meets damaged files with errors of many kinds
        raise DrawingRefused(
            "The drawing cannot be read.", reason="unreadable", value=type(fault).__name__,
            remedy="Export it again, as DXF R2000 or later.",
        ) from fault  # fmt: skip


def _read(document: Drawing, unit: float | None) -> tuple[list[Polyline], list[str]]:
    warnings = []
    code = int(document.header.get("$INSUNITS", 0))
    if code in _UNITS:
        scale = _UNITS[code]
        if unit is not None:
            warnings.append("The drawing says its unit itself ($INSUNITS), so `unit` was not used.")
    elif unit is None:
        raise DrawingRefused(
            f"The drawing does not say its unit ($INSUNITS is {code}).", reason="no-unit", pointer="/unit",
            value=None, limit="a unit: mm, cm, in, pt or px", remedy="Give the unit of its coordinates.",
        )  # fmt: skip
    else:
        scale = unit
    space = document.modelspace()
    _check_blocks(document, space)
    lines: list[Polyline] = []
    left_out: set[str] = set()
    total = 0
    drawn = [entity for entity in space if _visible(document, entity)]
    left_out.update(entity.dxftype() for entity in drawn if entity.dxftype() not in _LINES | {"INSERT"})
    for entity in recursive_decompose(entity for entity in drawn if entity.dxftype() not in left_out):
        if not _visible(document, entity):
            continue
        if entity.dxftype() not in _LINES:
            left_out.add(entity.dxftype())
            continue
        line = _polyline(document, entity, scale)
        if line is None:
            continue
        total += len(line.points)
        if total > MOST_POINTS:
            limit = f"at most {MOST_POINTS} points at {FLATNESS} mm"
            raise _too_large("The drawing is too detailed.", total, limit)
        lines.append(line)
    if left_out:
        warnings.append(f"Left out: {', '.join(sorted(left_out))}.")
    return lines, warnings


def _visible(document: Drawing, entity: DXFEntity) -> bool:
    if entity.dxf.get("invisible", 0):
        return False
    name = entity.dxf.get("layer", "0")
    if not document.layers.has_entry(name):
        return True
    layer = document.layers.get(name)
    return not (layer.is_off() or layer.is_frozen())


def _polyline(document: Drawing, entity: DXFEntity, scale: float) -> Polyline | None:
    points = np.array([(at.x, at.y) for at in _points(entity, FLATNESS / scale)], dtype=np.float64) * scale
    if len(points) < 2:  # noqa: PLR2004 - a point is no line
        return None
    closed = bool(np.hypot(*(points[0] - points[-1])) <= 1e-9 * max(1.0, float(np.abs(points).max())))
    return Polyline(points[:-1] if closed else points, closed, entity.dxf.get("layer", "0"), _colour(document, entity))


def _points(entity: Any, flatness: float) -> Iterable[Vec3]:
    """Yield the points of a line or curve; `ezdxf.path` would first turn arcs into curves that are off by 0.03 %."""
    match entity:
        case Line():
            yield entity.dxf.start
            yield entity.dxf.end
        case LWPolyline() | Polyline2d():
            if isinstance(entity, Polyline2d) and not (entity.is_2d_polyline or entity.is_3d_polyline):
                return  # a mesh
            last = None
            for piece in entity.virtual_entities():
                points = list(_points(piece, flatness))
                # arcs run counter-clockwise, whichever way the polyline runs through them
                if last is not None and points and last.distance(points[-1]) < last.distance(points[0]):
                    points.reverse()
                yield from points
                last = points[-1] if points else last
        case _:
            yield from entity.flattening(flatness)


def _colour(document: Drawing, entity: DXFEntity) -> str:
    layer = None
    if document.layers.has_entry(entity.dxf.get("layer", "0")):
        layer = document.layers.get(entity.dxf.get("layer", "0"))
    if entity.dxf.hasattr("true_color"):
        return colors.RGB(*colors.int2rgb(entity.dxf.true_color)).to_hex().lower()
    index = int(entity.dxf.get("color", _BY_LAYER))
    if index in {_BY_BLOCK, _BY_LAYER}:
        if layer is not None and layer.rgb is not None:
            return colors.RGB(*layer.rgb).to_hex().lower()
        index = 7 if layer is None else abs(int(layer.color))
    return colors.aci2rgb(index).to_hex().lower() if 0 < index < _BY_LAYER else ""


def _check_blocks(document: Drawing, space: Iterable[DXFEntity]) -> None:
    """Check how many entities there are once all blocks are in their places.

    Raises:
        DrawingRefused: if there are too many, or blocks contain themselves or are nested too deep.
    """
    counts: dict[str, int] = {}

    def block(name: str, depth: int, within: frozenset[str]) -> int:
        key = name.lower()
        if key in within:
            raise _too_large("A block contains itself.", name, "blocks that do not contain themselves")
        if depth > _DEEPEST:
            raise _too_large("Blocks are nested too deep.", depth, f"at most {_DEEPEST} deep")
        if key not in counts:
            content = document.blocks.get(name)
            counts[key] = 0 if content is None else total(content, depth, within | {key})
        return counts[key]

    def total(entities: Iterable[DXFEntity], depth: int, within: frozenset[str]) -> int:
        count = 0
        for entity in entities:
            count += 1
            if isinstance(entity, Insert):
                count += max(1, entity.mcount) * block(entity.dxf.get("name", ""), depth + 1, within)
            if count > _MOST_ENTITIES:
                raise _too_large("The drawing has too many entities.", count, f"at most {_MOST_ENTITIES}, with blocks")
        return count

    total(space, 0, frozenset())


def _too_large(message: str, value: object, limit: str) -> DrawingRefused:
    remedy = "Export only the outline, with blocks exploded."
    return DrawingRefused(message, reason="too-large", value=value, limit=limit, remedy=remedy)

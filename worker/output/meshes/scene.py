"""The assembled drawer as a binary glTF 2.0 file (GLB): in metres, y up, the drawer's front towards +z.

Normals are left out, so that viewers shade flat (3.7.2.1 of the specification), which suits these solids, and vertices
stay shared. Each mark is one mesh, and each of its placements a node of a few bytes.
"""

import re
import struct
from collections.abc import Mapping
from math import cos, radians, sin
from typing import Any, Final

import numpy as np
import orjson
from numpy.typing import NDArray

from worker.layout.model.plan import DrawerPlan
from worker.layout.model.shapes import Placement
from worker.output.meshes.standing import standing
from worker.output.palette import PALETTE
from worker.solids.mesh import Mesh

__all__ = ["FLOOR", "TRAYS", "write_glb"]

#: Default colours of the floor's parts and of trays, as #RRGGBB.
FLOOR: Final = PALETTE["edge"]
TRAYS: Final = PALETTE["tray"]

_COLOUR: Final = re.compile(r"#[0-9A-Fa-f]{6}")
_MAGIC: Final = b"glTF"
_HEADER: Final = struct.Struct("<4sII")
_CHUNK: Final = struct.Struct("<I4s")

#: Component types of accessors and targets of buffer views (5.1.3 and 5.11.5 of the specification).
_FLOAT, _UINT16, _UINT32 = 5126, 5123, 5125
_VERTICES, _INDICES = 34962, 34963

#: An index may not be the greatest of its type.
_MOST_IN_16: Final = 65_535

_MM: Final = 1000.0


def write_glb(drawer: DrawerPlan, meshes: Mapping[str, Mesh], colours: Mapping[str, str]) -> bytes:
    """Return the drawer with all parts in their places, the same bytes for the same drawer.

    Args:
        drawer: the drawer as laid out; its copies are identical.
        meshes: by mark, mm.
        colours: by mark, as #RRGGBB (sRGB); other marks have the default colour of the floor, or of trays and
            panels.

    Raises:
        KeyError: when a mark that is placed has no mesh.
        ValueError: when a colour is not #RRGGBB.
    """
    meshes = standing(drawer.placements, meshes)
    marks = sorted(
        {place.mark: place.cell is not None or place.name is not None for place in drawer.placements}.items(),
        key=_by_mark,
    )
    binary = _Binary()
    materials: dict[tuple[str, str], int] = {}
    shapes: dict[str, int] = {}
    written: list[dict[str, Any]] = []
    for mark, tray in marks:
        tone = ("trays" if tray else "floor", colours.get(mark, TRAYS if tray else FLOOR).upper())
        material = materials.setdefault(tone, len(materials))
        shapes[mark] = len(written)
        positions, indices = binary.mesh(meshes[mark])
        primitive = {"attributes": {"POSITION": positions}, "indices": indices, "material": material}
        written.append({"name": mark, "primitives": [primitive]})
    document: dict[str, Any] = {
        "asset": {"version": "2.0", "generator": "drawerwright"},
        "scene": 0,
        "scenes": [{"name": drawer.name}],
    }
    if written:
        nodes = [_node(place, meshes[place.mark], shapes[place.mark]) for place in drawer.placements]
        document |= {
            "scenes": [{"name": drawer.name, "nodes": [0]}],
            "nodes": [{"name": drawer.name, "children": list(range(1, len(nodes) + 1))}, *nodes],
            "meshes": written,
            "materials": [_material(name, colour) for name, colour in materials],
            "accessors": binary.accessors,
            "bufferViews": binary.views,
            "buffers": [{"byteLength": binary.length}],
        }
    return _glb(document, b"".join(binary.pieces))


class _Binary:
    """The binary buffer, with its buffer views and accessors."""

    def __init__(self) -> None:
        self.pieces: list[bytes] = []
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []
        self.length = 0

    def mesh(self, mesh: Mesh) -> tuple[int, int]:
        """Add a mesh; return the indices of its two accessors, for positions and for triangles."""
        points = upright(mesh.vertices).astype("<f4") + np.float32(0.0)  # no negative zeros
        small = len(points) <= _MOST_IN_16
        indices = mesh.triangles.astype("<u2" if small else "<u4").ravel()
        positions = self._add(
            points,
            _VERTICES,
            {
                "componentType": _FLOAT, "count": len(points), "type": "VEC3",
                "min": _doubles(points.min(axis=0)), "max": _doubles(points.max(axis=0)),
            },
        )  # fmt: skip
        faces = {"componentType": _UINT16 if small else _UINT32, "count": len(indices), "type": "SCALAR"}
        return positions, self._add(indices, _INDICES, faces)

    def _add(self, array: NDArray[Any], target: int, accessor: dict[str, Any]) -> int:
        data = array.tobytes()
        self.views.append({"buffer": 0, "byteOffset": self.length, "byteLength": len(data), "target": target})
        self.accessors.append({"bufferView": len(self.views) - 1, **accessor})
        data += bytes(-len(data) % 4)
        self.pieces.append(data)
        self.length += len(data)
        return len(self.accessors) - 1


def upright(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return points ``(n, 3) float64``, in mm with z up, in metres with y up: (x, y, z) becomes (x, z, -y) / 1000."""
    turned: NDArray[np.float64] = np.column_stack([points[:, 0], points[:, 2], -points[:, 1]]) / _MM
    return turned


def _node(place: Placement, mesh: Mesh, shape: int) -> dict[str, Any]:
    """Return a placement as a node: the mesh turned about the upright axis, then moved."""
    angle = radians(place.turn)
    x, y = mesh.vertices[:, 0], mesh.vertices[:, 1]
    turned = (cos(angle) * x - sin(angle) * y, sin(angle) * x + cos(angle) * y, mesh.vertices[:, 2])
    moved = np.array([[at - float(along.min()) for at, along in zip(place.at, turned, strict=True)]])
    node: dict[str, Any] = {"name": place.mark if place.name is None else f"{place.mark} {place.name}", "mesh": shape}
    translation = [round(length, 9) + 0.0 for length in upright(moved)[0].tolist()]
    if any(translation):
        node["translation"] = translation
    if place.turn:
        node["rotation"] = [0.0, round(sin(angle / 2.0), 9), 0.0, round(cos(angle / 2.0), 9)]
    return node


def _material(name: str, colour: str) -> dict[str, Any]:
    """Return a matt plastic material of this colour; glTF has colours in linear light (3.9.2 of the specification)."""
    if not _COLOUR.fullmatch(colour):
        raise ValueError(f"{colour!r} is not a colour #RRGGBB.")
    channels = [round(_linear(int(colour[at : at + 2], 16) / 255.0), 6) for at in (1, 3, 5)]
    return {
        "name": f"{name} {colour}",
        "pbrMetallicRoughness": {"baseColorFactor": [*channels, 1.0], "metallicFactor": 0.0, "roughnessFactor": 0.75},
    }


def _linear(channel: float) -> float:
    """Return a channel of sRGB in linear light (IEC 61966-2-1)."""
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4  # noqa: PLR2004 - the standard's


def _doubles(numbers: NDArray[np.float32]) -> list[float]:
    return [float(number) for number in numbers]


def _by_mark(entry: tuple[str, bool]) -> tuple[str, int, str]:
    """Return a sort key that puts T2 before T10."""
    mark = entry[0]
    return mark[0], len(mark), mark


def _glb(document: dict[str, Any], binary: bytes) -> bytes:
    """Return the two chunks with their header (4.4 of the specification)."""
    text = orjson.dumps(document)
    text += b" " * (-len(text) % 4)
    chunks = [_CHUNK.pack(len(text), b"JSON"), text]
    if binary:
        chunks += [_CHUNK.pack(len(binary), b"BIN\0"), binary]
    body = b"".join(chunks)
    return _HEADER.pack(_MAGIC, 2, _HEADER.size + len(body)) + body

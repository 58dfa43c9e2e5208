"""Meshes from files of strangers, in mm: limits, units and the check that they are closed."""

import io
import struct
import zipfile
from typing import Any, Final, Literal, TypeAlias

import numpy as np
import trimesh
from numpy.typing import NDArray

from worker.silhouettes.errors import ModelRefused
from worker.silhouettes.xml_guard import check_xml

__all__ = ["MODEL_UNITS", "ModelFormat", "ModelUnit", "Triangles", "read_mesh"]

ModelFormat: TypeAlias = Literal["stl", "3mf", "obj"]
ModelUnit: TypeAlias = Literal["mm", "cm", "m", "in", "ft"]

#: `(n, 3, 3) float64, mm`: the corners of triangles.
Triangles: TypeAlias = NDArray[np.float64]

#: Units that a caller can name, and those of 3MF (3MF Core Specification, 3.4), in mm.
MODEL_UNITS: Final[dict[ModelUnit, float]] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
_UNITS_OF_3MF: Final = {
    "micron": 1e-3, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0,
    "millimeters": 1.0, "centimeters": 10.0, "inches": 25.4, "feet": 304.8, "meters": 1000.0, "microns": 1e-3,
}  # fmt: skip

#: Triangles of a mesh, and bytes of the unpacked parts of a 3MF.
_MOST_TRIANGLES: Final = 300_000
_MOST_UNPACKED: Final = 120_000_000
_MOST_PARTS: Final = 1_000

#: Header and record of a binary STL, in bytes.
_STL_HEADER: Final = 84
_STL_RECORD: Final = 50


def read_mesh(content: bytes, kind: ModelFormat, unit: ModelUnit | None) -> tuple[Triangles, list[str]]:
    """Return the triangles of a file, and what a person should know about them.

    Args:
        content: the file.
        kind: its format; the extension of its name.
        unit: unit of its coordinates, for formats that have none; None for mm.

    Raises:
        ModelRefused: if it cannot be read, exceeds a limit, or has coordinates that are no numbers.
    """
    _check_size(content, kind)
    try:
        scene: Any = trimesh.load_scene(io.BytesIO(content), file_type=kind, process=False, skip_materials=True)
        _check_instances(scene)
        units = scene.units
        triangles = np.array(scene.to_mesh().triangles, dtype=np.float64)
    except (ModelRefused, MemoryError):
        raise
    except Exception as fault:
        # the reader meets damaged files with errors of all kinds
        raise ModelRefused(
            "The model cannot be read.", reason="unreadable", value=type(fault).__name__, remedy="Export it again."
        ) from fault
    if not len(triangles):
        raise ModelRefused("The model has no triangles.", reason="empty", remedy="Export it as a mesh.")
    if triangles.shape[1:] != (3, 3):  # an OBJ may have corners in the plane
        raise ModelRefused(
            "The model is flat.", reason="unreadable", limit="corners in space", remedy="Export a solid."
        )
    if not np.isfinite(triangles).all() or np.abs(triangles).max() > 1e9:  # noqa: PLR2004 - a thousand kilometres
        raise ModelRefused(
            "The model has coordinates that are no numbers, or too large.", reason="unreadable",
            limit="finite numbers", remedy="Export it again.",
        )  # fmt: skip
    scale, warnings = _scale(kind, unit, str(units))
    return triangles * scale, warnings


def _scale(kind: ModelFormat, unit: ModelUnit | None, own_unit: str) -> tuple[float, list[str]]:
    """Return the length of a unit of the file in mm, and a warning where it was not given."""
    if kind == "3mf":
        unused = [] if unit is None else ["The file says its unit itself, so `unit` was not used."]
        return _UNITS_OF_3MF.get(own_unit, 1.0), unused
    if unit is None:
        return 1.0, [f"A file of the format {kind.upper()} does not say its unit; mm were assumed."]
    return MODEL_UNITS[unit], []


def _check_size(content: bytes, kind: ModelFormat) -> None:
    """Check how large a file is before it is read."""
    if kind == "stl":
        _check_stl(content)
    elif kind == "3mf":
        _check_3mf(content)
    elif content.count(b"\n") > 4 * _MOST_TRIANGLES:
        raise _too_large("The file is too long.", content.count(b"\n"), f"at most {4 * _MOST_TRIANGLES} lines")


def _check_instances(scene: Any) -> None:
    """Check the number of triangles once all components are in their places."""
    instances = sum(len(scene.geometry[scene.graph[node][1]].faces) for node in scene.graph.nodes_geometry)
    if instances > _MOST_TRIANGLES:
        raise _too_large("The mesh is too detailed.", instances, f"at most {_MOST_TRIANGLES} triangles")


def _check_stl(content: bytes) -> None:
    """Check the number of triangles before they are read."""
    if len(content) >= _STL_HEADER and not content.lstrip().startswith(b"solid"):
        count = struct.unpack_from("<I", content, _STL_HEADER - 4)[0]
        if count * _STL_RECORD + _STL_HEADER > len(content):
            raise ModelRefused(
                "The file is shorter than its header says.", reason="unreadable", value=len(content),
                limit=f"{count * _STL_RECORD + _STL_HEADER} bytes", remedy="Upload it again.",
            )  # fmt: skip
    if len(content) > _STL_RECORD * _MOST_TRIANGLES * 5:  # a triangle takes about 250 bytes as text
        raise _too_large("The file is too long.", len(content), f"at most {_MOST_TRIANGLES} triangles")


def _check_3mf(content: bytes) -> None:
    """Check what is in the archive before it is unpacked, and its XML."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            _check_archive(archive)
    except ModelRefused:
        raise
    except Exception as fault:
        # damaged archives raise errors of zipfile, zlib, struct and others
        raise ModelRefused(
            "The file is no 3MF archive.", reason="unreadable", value=type(fault).__name__, remedy="Export it again."
        ) from fault


def _check_archive(archive: zipfile.ZipFile) -> None:
    entries = archive.infolist()
    size = sum(entry.file_size for entry in entries)
    if size > _MOST_UNPACKED or len(entries) > _MOST_PARTS:
        limit = f"at most {_MOST_UNPACKED} bytes in {_MOST_PARTS} parts"
        raise _too_large("The archive is too large when unpacked.", size, limit)
    for entry in entries:
        if entry.filename.lower().endswith((".model", ".rels", ".xml")):
            with archive.open(entry) as part:
                check_xml(part.read(entry.file_size), ModelRefused, most_elements=8 * _MOST_TRIANGLES)


def _too_large(message: str, value: object, limit: str) -> ModelRefused:
    return ModelRefused(message, reason="too-large", value=value, limit=limit, remedy="Simplify the mesh.")

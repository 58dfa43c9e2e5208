"""Binary STL: 80 bytes of header, a count, then 50 bytes for each triangle. No unit is stored; ours is millimetres."""

import struct
from typing import Final

import numpy as np
from numpy.typing import NDArray

from worker.solids.mesh import Mesh
from worker.spec.errors import CheckFailed

_HEADER: Final = 80
_COUNT: Final = struct.Struct("<I")
_RECORD: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])

#: Odd multipliers that spread a vertex's three words over one; any will do, collisions are found and handled.
_MIX: Final = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], dtype=np.uint64)


def write_stl(mesh: Mesh, header: str) -> bytes:
    """Return the mesh as binary STL, the same bytes for the same mesh and header.

    Args:
        mesh: a solid, in mm.
        header: up to 80 bytes of ASCII that does not begin with "solid", which would read as the text format.

    Raises:
        ValueError: when the header does not fit.
        CheckFailed: when a triangle has no area in single precision, so no normal.
    """
    text = header.encode("ascii")
    if len(text) > _HEADER or text[:5].lower() == b"solid":
        raise ValueError(f"{header!r} is no header for a binary STL file.")
    points = mesh.vertices.astype(np.float32) + np.float32(0.0)  # no negative zeros
    corners = points[mesh.triangles]
    records = np.zeros(len(corners), dtype=_RECORD)
    records["normal"] = _normals(corners)
    records["corners"] = corners
    return text.ljust(_HEADER, b" ") + _COUNT.pack(len(records)) + records.tobytes()


def read_stl(data: bytes) -> Mesh:
    """Return the mesh of a binary STL file, its vertices merged where all three numbers are equal.

    Raises:
        CheckFailed: when the size is not 84 + 50 n bytes, or a number is not finite.
    """
    corners = read_corners(data)
    flat = corners.reshape(-1, 3)
    first, inverse = _merge(flat)
    return Mesh(flat[first].astype(np.float64), inverse.reshape(-1, 3).astype(np.int32))


def read_corners(data: bytes) -> NDArray[np.float32]:
    """Return the corners ``(n, 3, 3) float32`` of a binary STL file's triangles, in the file's order.

    Raises:
        CheckFailed: when the size is not 84 + 50 n bytes, or a number is not finite.
    """
    start = _HEADER + _COUNT.size
    count = _COUNT.unpack_from(data, _HEADER)[0] if len(data) >= start else -1
    if len(data) != start + _RECORD.itemsize * count:
        raise CheckFailed("The STL file is cut short or too long.", value=len(data), limit="84 + 50 n bytes")
    corners = np.ascontiguousarray(np.frombuffer(data, dtype=_RECORD, offset=start)["corners"])
    if not np.isfinite(corners).all():
        raise CheckFailed("The STL file has a number that is not finite.", limit="finite numbers")
    return corners


def _normals(corners: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return unit normals ``(n, 3)`` by the right-hand rule, in double precision."""
    a, b, c = (corners[:, corner].astype(np.float64) for corner in range(3))
    normals = np.cross(b - a, c - a)
    lengths = np.sqrt(np.einsum("ij,ij->i", normals, normals))
    if not (lengths > 0.0).all():
        raise CheckFailed(
            "A triangle has no area in single precision.", value=int((~(lengths > 0.0)).sum()), limit="0 triangles"
        )
    unit: NDArray[np.float64] = normals / lengths[:, None]
    return unit


def _merge(flat: NDArray[np.float32]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the first row of each distinct point, and for each row ``(n, 3)`` which of these it is."""
    flat = np.ascontiguousarray(flat + np.float32(0.0))  # -0.0 is 0.0
    words = flat.view(np.uint32).astype(np.uint64)
    keys = (words * _MIX).sum(axis=1, dtype=np.uint64)
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    if not np.array_equal(flat[first][inverse], flat):  # two points mixed to one key
        _, first, inverse = np.unique(flat, axis=0, return_index=True, return_inverse=True)
    return first, inverse.reshape(-1)

"""PNG files (ISO/IEC 15948): 8-bit red, green and blue, with the same bytes for the same pixels."""

import struct
import zlib
from typing import Final

import numpy as np
from numpy.typing import NDArray

_SIGNATURE: Final = b"\x89PNG\r\n\x1a\n"
_HEADER: Final = struct.Struct(">IIBBBBB")
_LENGTH: Final = struct.Struct(">I")
_BITS: Final = 8
_TRUECOLOUR: Final = 2
_FILTER_UP: Final = 2
_LEVEL: Final = 3


def write_png(pixels: NDArray[np.uint8]) -> bytes:
    """Return the PNG file of a picture ``(rows, columns, 3) uint8``: red, green and blue, the top row first.

    Raises:
        ValueError: when the array has another shape or dtype, or is empty.
    """
    if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.size == 0:  # noqa: PLR2004 - above
        raise ValueError(f"An array {pixels.shape} of {pixels.dtype} cannot be written as a picture.")
    rows, columns, _ = pixels.shape
    flat = pixels.reshape(rows, -1)
    # differences from the row above compress best where areas are plain
    lines = np.empty((rows, 1 + flat.shape[1]), dtype=np.uint8)
    lines[:, 0] = _FILTER_UP
    lines[0, 1:] = flat[0]
    lines[1:, 1:] = flat[1:] - flat[:-1]
    header = _HEADER.pack(columns, rows, _BITS, _TRUECOLOUR, 0, 0, 0)
    packed = zlib.compress(lines.tobytes(), _LEVEL)
    return _SIGNATURE + b"".join(_chunk(*chunk) for chunk in ((b"IHDR", header), (b"IDAT", packed), (b"IEND", b"")))


def _chunk(kind: bytes, data: bytes) -> bytes:
    return _LENGTH.pack(len(data)) + kind + data + _LENGTH.pack(zlib.crc32(kind + data))

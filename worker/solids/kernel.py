"""The kernel: for each kind of shape its closed solid, the genus that the solid must have, and its digest."""

import hashlib
from collections.abc import Callable, Mapping
from importlib.metadata import version
from typing import Any, Final

from worker.layout.model.fingerprint import fingerprint
from worker.layout.model.shapes import (
    ClipShape,
    CouponShape,
    KeyShape,
    PieceShape,
    PlugShape,
    Shape,
    ShoeShape,
    StripShape,
    TileShape,
    TrayShape,
)
from worker.solids.coupon import build_coupon, build_plug, coupon_genus
from worker.solids.key import build_key
from worker.solids.mesh import Mesh
from worker.solids.panel import build_clip, build_shoe, build_strip
from worker.solids.piece import build_piece, piece_genus
from worker.solids.tile import build_tile, tile_genus
from worker.solids.tray import build_tray, tray_genus

#: Revision of this package: raised whenever the same shape would be built differently.
_REVISION: Final = 2

#: What a solid's bytes depend on besides its shape.
KERNEL: Final = f"manifold3d {version('manifold3d')}, build {_REVISION}"


#: What builds the solid of each kind of shape.
_BUILDERS: Final[Mapping[type[Shape], Callable[[Any], Mesh]]] = {
    TileShape: build_tile,
    TrayShape: build_tray,
    PieceShape: build_piece,
    KeyShape: build_key,
    CouponShape: build_coupon,
    PlugShape: build_plug,
    StripShape: build_strip,
    ShoeShape: build_shoe,
    ClipShape: build_clip,
}


def build(shape: Shape) -> Mesh:
    """Return the closed solid of a shape, in mm, in the part's own frame and as it is printed (z up).

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
        CheckFailed: when a boolean leaves a hole, or a result that cannot be rounded without slivers.
    """
    return _BUILDERS[type(shape)](shape)


def genus(shape: Shape) -> int:
    """Return the genus that the solid of a shape must have: the number of its through holes."""
    match shape:
        case TileShape():
            return tile_genus(shape)
        case TrayShape():
            return tray_genus(shape)
        case PieceShape():
            return piece_genus(shape)
        case CouponShape():
            return coupon_genus(shape)
        case KeyShape() | PlugShape() | StripShape() | ShoeShape() | ClipShape():
            return 0


def digest(shape: Shape) -> str:
    """Return the SHA-256 of a shape and of `KERNEL`, 64 hexadecimal digits; equal shapes have equal digests."""
    return hashlib.sha256(f"{KERNEL} {fingerprint(shape)}".encode()).hexdigest()

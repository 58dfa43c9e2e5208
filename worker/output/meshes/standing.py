"""Meshes as they stand in a drawer: those of strips are printed flat and stood on their front edge."""

from collections.abc import Iterable, Mapping

import numpy as np

from worker.layout.model.shapes import Placement
from worker.solids.mesh import Mesh

__all__ = ["standing", "stood"]


def stood(mesh: Mesh) -> Mesh:
    """Return a mesh stood on its front edge, its bounding box from 0, 0, 0: y becomes z, and its top faces the front.

    It is turned by 90 degrees about x: ``(x, y, z)`` becomes ``(x, -z, y)``.
    """
    x, y, z = mesh.vertices.T
    turned = np.column_stack([x, -z, y])
    return Mesh(turned - turned.min(axis=0), mesh.triangles)


def standing(placements: Iterable[Placement], meshes: Mapping[str, Mesh]) -> dict[str, Mesh]:
    """Return the meshes of placed parts by mark, as they stand; pieces of one mark all stand alike.

    Raises:
        KeyError: when a mark that is placed has no mesh.
    """
    upright = {place.mark: place.upright for place in placements}
    return {mark: stood(meshes[mark]) if up else meshes[mark] for mark, up in upright.items()}

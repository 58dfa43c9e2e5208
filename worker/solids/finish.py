"""The finish of a boolean's result: on the coordinate grid, without slivers, and still the same solid.

A boolean leaves points off the grid and, where nearly flush faces met, triangles without height. Rounding such a mesh
makes folds, so it is simplified first, rounded, taken in again, and looked at. What simplifying leaves is mended by
hand: a needle's short side is collapsed, a cap's long side is flipped.
"""

from typing import Final

import manifold3d
import numpy as np
from numpy.typing import NDArray

from worker.solids.mesh import Mesh, Triangles, Vertices, altitudes
from worker.solids.ring import on_grid
from worker.spec.errors import CheckFailed
from worker.spec.tolerances import COORDINATE_GRID, SLIVER_ALTITUDE, VOLUME_RATIO

#: How far simplifying may move a surface, round by round, in mm.
TOLERANCES: Final = (1e-3, 1e-3, 2e-3, 3e-3)

#: The longest side that is collapsed by hand.
_SHORT: Final = 5e-3

#: Slivers that are mended by hand before the mesh is held to be broken.
_MOST_MENDED: Final = 64


def finished(solid: manifold3d.Manifold) -> Mesh:
    """Return the mesh of a solid, rounded to the coordinate grid and free of slivers.

    Raises:
        CheckFailed: when rounding changes the solid's genus, pieces or volume, or when slivers stay.
    """
    rounded = solid
    for tolerance in TOLERANCES:
        simple = Mesh.of(rounded.as_original().simplify(tolerance))
        # Simplifying keeps a subset of the points, so a rounded solid stays on the grid.
        rounded = mended(Mesh(on_grid(simple.vertices), simple.triangles)).manifold()
        mesh = Mesh.of(rounded)
        if _is_clean(mesh):
            _compare(rounded, solid)
            return mesh
    slivers = int((mesh.altitudes <= SLIVER_ALTITUDE).sum())
    raise CheckFailed(
        "Rounding leaves slivers, or points in one place.",
        value=slivers, limit=f"none with an altitude under {SLIVER_ALTITUDE:g} mm",
    )  # fmt: skip


def mended(mesh: Mesh) -> Mesh:
    """Return the mesh with its slivers collapsed or flipped away, as far as that can be done without a fold."""
    vertices, triangles = mesh.vertices, mesh.triangles
    for _ in range(_MOST_MENDED):
        slivers = np.flatnonzero(altitudes(vertices, triangles) <= SLIVER_ALTITUDE)
        changed = next(
            (better for sliver in slivers if (better := _mend(vertices, triangles, int(sliver))) is not None), None
        )
        if changed is None:
            break
        triangles = changed
    used, numbers = np.unique(triangles, return_inverse=True)
    return Mesh(vertices[used], numbers.reshape(-1, 3).astype(np.int32))


def _mend(vertices: Vertices, triangles: Triangles, sliver: int) -> Triangles | None:
    """Return the triangles without this sliver, or None when neither a collapse nor a flip helps."""
    corners = triangles[sliver]
    lengths = np.linalg.norm(vertices[np.roll(corners, -1)] - vertices[corners], axis=1)
    short, long = int(lengths.argmin()), int(lengths.argmax())
    if lengths[short] <= _SHORT:
        first, other = int(corners[short]), int(corners[(short + 1) % 3])
        for gone, kept in ((first, other), (other, first)):
            better = _collapse(vertices, triangles, gone, kept)
            if better is not None:
                return better
    return _flip(vertices, triangles, sliver, np.roll(corners, -long))


def _collapse(vertices: Vertices, triangles: Triangles, gone: int, kept: int) -> Triangles | None:
    """Return the triangles with one point moved into another; None where that would pinch or fold the surface."""
    around_gone, around_kept = (triangles == gone).any(axis=1), (triangles == kept).any(axis=1)
    both = around_gone & around_kept
    shared = np.intersect1d(triangles[around_gone], triangles[around_kept])
    if both.sum() != 2 or len(shared) != 4:  # noqa: PLR2004 - the edge's two triangles; its ends and their two tips
        return None
    moved = np.flatnonzero(around_gone & ~both)
    before = triangles[moved]
    after = np.where(before == gone, np.int32(kept), before)
    if not _sound(vertices, before, after):
        return None
    result = triangles.copy()
    result[moved] = after
    kept_faces: Triangles = result[~both]
    return kept_faces


def _flip(vertices: Vertices, triangles: Triangles, sliver: int, corners: NDArray[np.int32]) -> Triangles | None:
    """Return the triangles with the sliver's first side turned to join the two tips; None where that would fold."""
    first, other, tip = (int(corner) for corner in corners)
    beside = (triangles == first).any(axis=1) & (triangles == other).any(axis=1)
    beside[sliver] = False
    neighbours = np.flatnonzero(beside)
    if len(neighbours) != 1:
        return None
    neighbour = int(neighbours[0])
    far = int(triangles[neighbour].sum()) - first - other
    if ((triangles == tip).any(axis=1) & (triangles == far).any(axis=1)).any():
        return None
    after = np.array([[first, far, tip], [far, other, tip]], dtype=np.int32)
    if not _sound(vertices, np.repeat(triangles[[neighbour]], 2, axis=0), after):
        return None
    result = triangles.copy()
    result[[sliver, neighbour]] = after
    return result


def _sound(vertices: Vertices, before: Triangles, after: Triangles) -> bool:
    """Return whether the new triangles have height and face the way that the old ones did."""
    if (altitudes(vertices, after) <= SLIVER_ALTITUDE).any():
        return False
    old, new = (
        np.cross(vertices[side[:, 1]] - vertices[side[:, 0]], vertices[side[:, 2]] - vertices[side[:, 0]])
        for side in (before, after)
    )
    thin = altitudes(vertices, before) <= SLIVER_ALTITUDE
    return bool((thin | (np.einsum("ij,ij->i", old, new) > 0.0)).all())


def _is_clean(mesh: Mesh) -> bool:
    """Return whether there is no sliver and no two points are in one place."""
    if not len(mesh.triangles) or mesh.altitudes.min() <= SLIVER_ALTITUDE:
        return False
    steps = np.round(mesh.vertices / COORDINATE_GRID).astype(np.int64)
    steps -= steps.min(axis=0)
    keys = (steps[:, 0] << 42) | (steps[:, 1] << 21) | steps[:, 2]  # two metres fit into 21 bits of micrometres
    return len(np.unique(keys)) == len(keys)


def _compare(rounded: manifold3d.Manifold, solid: manifold3d.Manifold) -> None:
    if rounded.status() != manifold3d.Error.NoError:
        raise CheckFailed("The rounded solid is not closed.", value=rounded.status().name)
    for what, is_, was in (
        ("genus", rounded.genus(), solid.genus()),
        ("pieces", len(rounded.decompose()), len(solid.decompose())),
    ):
        if is_ != was:
            raise CheckFailed(f"Rounding changes the solid's {what}.", value=is_, limit=str(was))
    if abs(rounded.volume() - solid.volume()) > VOLUME_RATIO * solid.volume():
        raise CheckFailed("Rounding changes the volume.", value=rounded.volume(), limit=f"{solid.volume():g} mm3")

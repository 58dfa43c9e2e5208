"""Clean-up of a boolean's result: rounded to the coordinate grid, free of slivers, and still the same solid.

A boolean leaves points off the grid and, where nearly flush faces met, triangles of almost no altitude. Rounding such a
mesh folds it, so the solid is simplified first, rounded, read back by manifold3d and checked. Slivers that remain are
removed one at a time: the short side of a needle is collapsed, the long side of a cap is flipped.
"""

from typing import Final

import manifold3d
import numpy as np
from numpy.typing import NDArray

from worker.solids.mesh import Mesh, Triangles, Vertices, altitudes
from worker.solids.ring import on_grid
from worker.spec.errors import CheckFailed
from worker.spec.tolerances import COORDINATE_GRID, ROUNDING_DEPTH, SLIVER_ALTITUDE

#: Tolerances of the rounds of simplification: how far a surface may move, mm.
TOLERANCES: Final = (1e-3, 1e-3, 2e-3, 3e-3)

#: Sides up to this length may be collapsed, mm.
_LONGEST_COLLAPSED: Final = 5e-3

#: The most slivers that are removed one at a time.
_MOST_REMOVED: Final = 64


def finished(solid: manifold3d.Manifold) -> Mesh:
    """Return the mesh of a solid, rounded to the coordinate grid and free of slivers.

    Raises:
        CheckFailed: when rounding changes the solid's genus, number of components or volume, or leaves slivers.
    """
    rounded = solid
    for tolerance in TOLERANCES:
        simple = Mesh.of(rounded.as_original().simplify(tolerance))
        # Simplifying keeps a subset of the points, so a rounded solid stays on the grid.
        rounded = without_slivers(Mesh(on_grid(simple.vertices), simple.triangles)).manifold()
        mesh = Mesh.of(rounded)
        if _is_clean(mesh):
            _check_unchanged(rounded, solid)
            return mesh
    slivers = int((mesh.altitudes <= SLIVER_ALTITUDE).sum())
    raise CheckFailed(
        "Rounding to the coordinate grid leaves slivers or duplicate points.",
        value=slivers, limit=f"0 triangles with an altitude of {SLIVER_ALTITUDE:g} mm or less",
    )  # fmt: skip


def without_slivers(mesh: Mesh) -> Mesh:
    """Return the mesh without its slivers, as far as collapsing or flipping an edge removes them without a fold."""
    vertices, triangles = mesh.vertices, mesh.triangles
    for _ in range(_MOST_REMOVED):
        slivers = np.flatnonzero(altitudes(vertices, triangles) <= SLIVER_ALTITUDE)
        changed = next(
            (better for sliver in slivers if (better := _without_sliver(vertices, triangles, int(sliver))) is not None),
            None,
        )
        if changed is None:
            break
        triangles = changed
    used, numbers = np.unique(triangles, return_inverse=True)
    return Mesh(vertices[used], numbers.reshape(-1, 3).astype(np.int32))


def _without_sliver(vertices: Vertices, triangles: Triangles, sliver: int) -> Triangles | None:
    """Return the triangles ``(m, 3) int32`` without this sliver, or None when neither a collapse nor a flip helps."""
    corners = triangles[sliver]
    lengths = np.linalg.norm(vertices[np.roll(corners, -1)] - vertices[corners], axis=1)
    short, long = int(lengths.argmin()), int(lengths.argmax())
    if lengths[short] <= _LONGEST_COLLAPSED:
        first, other = int(corners[short]), int(corners[(short + 1) % 3])
        for gone, kept in ((first, other), (other, first)):
            better = _collapse(vertices, triangles, gone, kept)
            if better is not None:
                return better
    return _flip(vertices, triangles, sliver, np.roll(corners, -long))


def _collapse(vertices: Vertices, triangles: Triangles, gone: int, kept: int) -> Triangles | None:
    """Return the triangles with vertex ``gone`` merged into ``kept``; None where that would pinch or fold them."""
    around_gone, around_kept = (triangles == gone).any(axis=1), (triangles == kept).any(axis=1)
    both = around_gone & around_kept
    shared = np.intersect1d(triangles[around_gone], triangles[around_kept])
    if both.sum() != 2 or len(shared) != 4:  # noqa: PLR2004 - the edge's two triangles; its ends and their two tips
        return None
    moved = np.flatnonzero(around_gone & ~both)
    before = triangles[moved]
    after = np.where(before == gone, np.int32(kept), before)
    if not _keeps_orientation(vertices, before, after):
        return None
    result = triangles.copy()
    result[moved] = after
    kept_faces: Triangles = result[~both]
    return kept_faces


def _flip(vertices: Vertices, triangles: Triangles, sliver: int, corners: NDArray[np.int32]) -> Triangles | None:
    """Return the triangles with the sliver's first side flipped to join the two tips; None where that would fold.

    ``corners`` ``(3,) int32`` are the sliver's vertices, the ends of the side to flip first.
    """
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
    if not _keeps_orientation(vertices, np.repeat(triangles[[neighbour]], 2, axis=0), after):
        return None
    result = triangles.copy()
    result[[sliver, neighbour]] = after
    return result


def _keeps_orientation(vertices: Vertices, before: Triangles, after: Triangles) -> bool:
    """Return whether the new triangles are no slivers and face the same way as the old ones, one by one."""
    if (altitudes(vertices, after) <= SLIVER_ALTITUDE).any():
        return False
    old, new = (
        np.cross(vertices[side[:, 1]] - vertices[side[:, 0]], vertices[side[:, 2]] - vertices[side[:, 0]])
        for side in (before, after)
    )
    thin = altitudes(vertices, before) <= SLIVER_ALTITUDE
    return bool((thin | (np.einsum("ij,ij->i", old, new) > 0.0)).all())


def _is_clean(mesh: Mesh) -> bool:
    """Return whether the mesh has neither slivers nor duplicate points."""
    if not len(mesh.triangles) or mesh.altitudes.min() <= SLIVER_ALTITUDE:
        return False
    steps = np.round(mesh.vertices / COORDINATE_GRID).astype(np.int64)
    steps -= steps.min(axis=0)
    keys = (steps[:, 0] << 42) | (steps[:, 1] << 21) | steps[:, 2]  # 21 bits hold two metres in micrometres
    return len(np.unique(keys)) == len(keys)


def _check_unchanged(rounded: manifold3d.Manifold, solid: manifold3d.Manifold) -> None:
    """Raise `CheckFailed` when the rounded solid is not closed or differs in genus, components or volume."""
    if rounded.status() != manifold3d.Error.NoError:
        raise CheckFailed("The rounded solid is not closed.", value=rounded.status().name, limit="NoError")
    for what, is_, was in (
        ("genus", rounded.genus(), solid.genus()),
        ("number of components", len(rounded.decompose()), len(solid.decompose())),
    ):
        if is_ != was:
            raise CheckFailed(f"Rounding changes the solid's {what}.", value=is_, limit=str(was))
    change = abs(rounded.volume() - solid.volume())
    if change > ROUNDING_DEPTH * solid.surface_area():
        raise CheckFailed(
            "Rounding changes the solid's volume.",
            value=change, limit=f"{ROUNDING_DEPTH:g} mm over its surface of {solid.surface_area():.0f} mm2",
        )  # fmt: skip

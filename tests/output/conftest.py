"""Solids small enough to break by hand."""

import itertools

import manifold3d
import numpy as np
import pytest

from worker.solids.mesh import Builder, Mesh
from worker.solids.ring import rounded_rectangle
from worker.spec.drawer.joint import Joint, default_profile


def _box(x=10.0, y=20.0, z=5.0, at=(0.0, 0.0, 0.0)):
    return Mesh.of(manifold3d.Manifold.cube((x, y, z)).translate(at))


def _floor(across, deep, pitch=42.0):
    """A stand-in for a tile: cells joined at shared corners, each with a socket right through."""
    joint = Joint(default_profile(0.3, 0.44), 0.3, 0.44)
    levels, height = joint.socket_levels(), joint.height
    builder, nodes = Builder(), {}

    def node(i, k, z):
        if (i, k, z) not in nodes:
            nodes[i, k, z] = builder.points(np.array([[i * pitch, k * pitch, z]]))[0]
        return nodes[i, k, z]

    def side(p, q):
        builder.faces(
            np.array([[node(*p, 0), node(*q, 0), node(*q, height)], [node(*p, 0), node(*q, height), node(*p, height)]])
        )

    for i in range(across):
        for k in range(deep):
            rings = [builder.ring(rounded_rectangle(i * pitch, k * pitch, pitch, pitch, u, 5.0), z) for u, z in levels]
            for lower, upper in itertools.pairwise(rings):
                builder.strip(upper, lower)
            around = [(i, k), (i + 1, k), (i + 1, k + 1), (i, k + 1)]
            builder.cap(np.array([node(*p, 0) for p in around]), [rings[0]], up=False)
            builder.cap(np.array([node(*p, height) for p in around]), [rings[-1]], up=True)
    for i in range(across):
        side((i, 0), (i + 1, 0))
        side((i + 1, deep), (i, deep))
    for k in range(deep):
        side((across, k), (across, k + 1))
        side((0, k + 1), (0, k))
    return builder.mesh()


@pytest.fixture(scope="session")
def box():
    """A box of any size anywhere."""
    return _box


@pytest.fixture(scope="session")
def floor():
    """An open floor of any count of cells."""
    return _floor


@pytest.fixture(scope="session")
def together():
    """Several meshes as one, not united."""

    def join(*meshes):
        starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
        return Mesh(
            np.concatenate([mesh.vertices for mesh in meshes]),
            np.concatenate([mesh.triangles + start for mesh, start in zip(meshes, starts, strict=False)]).astype(
                np.int32
            ),
        )

    return join

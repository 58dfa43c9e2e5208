"""The plain tray from whole frusta and booleans: it shares rings with the direct build, and none of its topology."""

import itertools

import manifold3d

from worker.layout.model.shapes import TrayShape
from worker.solids.mesh import Builder, Mesh
from worker.solids.ring import rounded_rectangle


def oracle(shape: TrayShape) -> manifold3d.Manifold:
    """Return the tray of feet, body, cavity and rim as the boolean of convex solids."""
    across, back = (halves * shape.pitch / 2.0 for halves in shape.halves)
    side = shape.pitch / 2.0 if shape.half_feet else shape.pitch

    def ring(inset, z, place=(0.0, 0.0, across, back)):
        x, y, width, depth = place
        return rounded_rectangle(x - shape.inset, y - shape.inset, width, depth, inset, shape.corner_radius), z

    def between(lower, upper, *, hollow=False):
        builder = Builder()
        bottom, top = builder.ring(*lower), builder.ring(*upper)
        # Rounding to the grid leaves quads a hair off plane: a hollow is cut along the diagonals of an inner wall.
        builder.strip(*((top, bottom) if hollow else (bottom, top)))
        builder.cap(bottom, up=hollow)
        builder.cap(top, up=not hollow)
        mesh = builder.mesh()
        return Mesh(mesh.vertices, mesh.triangles[:, ::-1] if hollow else mesh.triangles).manifold()

    def hollow(lower, upper):
        return between(lower, upper, hollow=True)

    solids = []
    for x, y in itertools.product(range(round(across / side)), range(round(back / side))):
        place = (x * side, y * side, side, side)
        solids += [
            between(ring(u0, z0, place), ring(u1, z1, place))
            for (u0, z0), (u1, z1) in itertools.pairwise(shape.foot_levels)
        ]
    foot_top = shape.foot_levels[-1][1]
    body = between(ring(shape.inset, foot_top), ring(shape.inset, shape.height))
    inner = shape.inset + shape.wall
    air = []
    if shape.rim_levels is None:
        air.append(hollow(ring(inner, shape.fill_top), ring(inner, shape.height + 1.0)))
    else:
        toe, base = shape.rim_levels[0]
        return_z = base - max(toe - inner, 0.0)
        air.append(hollow(ring(inner, shape.fill_top), ring(inner, return_z)))
        if toe > inner:
            air.append(hollow(ring(inner, return_z), ring(toe, base)))
        air += [hollow(ring(u0, z0), ring(u1, z1)) for (u0, z0), (u1, z1) in itertools.pairwise(shape.rim_levels)]
        land, top = shape.rim_levels[-1]
        air.append(hollow(ring(land, top), ring(land, top + 1.0)))
    added = manifold3d.Manifold.batch_boolean([body, *solids], manifold3d.OpType.Add)
    return manifold3d.Manifold.batch_boolean([added, *air], manifold3d.OpType.Subtract)

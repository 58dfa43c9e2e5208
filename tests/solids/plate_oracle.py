"""Tiles, coupons and plugs from whole solids and booleans: they share rings with the direct build, and no topology."""

import itertools

import manifold3d
import numpy as np

from worker.layout.model.shapes import Socket
from worker.solids.engraving import text_rings
from worker.solids.mesh import Builder, Mesh
from worker.solids.ring import on_grid, rounded_rectangle

OVER = 0.01


def prism(ring, low, high):
    return manifold3d.CrossSection([np.asarray(ring)]).extrude(high - low).translate((0.0, 0.0, low))


def stack(rings, *, hollow):
    """Return the solid between rings; a hollow's quads are cut along the diagonals of an inner wall."""
    builder = Builder()
    every = [builder.ring(ring, z) for ring, z in rings]
    for lower, upper in itertools.pairwise(every):
        builder.strip(*((upper, lower) if hollow else (lower, upper)))
    builder.cap(every[0], up=hollow)
    builder.cap(every[-1], up=not hollow)
    mesh = builder.mesh()
    return Mesh(mesh.vertices, mesh.triangles[:, ::-1] if hollow else mesh.triangles).manifold()


def socket_air(socket, levels, radius):
    rings = []
    for inset, z in levels:
        ring = on_grid(rounded_rectangle(0.0, 0.0, socket.width, socket.depth, inset, radius))
        rings.append((ring + np.array([socket.x, socket.y]), z))
    rings = [(rings[0][0], rings[0][1] - OVER), *rings, (rings[-1][0], rings[-1][1] + OVER)]
    return stack(rings, hollow=True)


def text_solids(letterings, height):
    solids = []
    for lettering in letterings:
        flat = manifold3d.CrossSection(text_rings(lettering))
        low, high = (height - lettering.depth, height + OVER) if lettering.face == "top" else (-OVER, lettering.depth)
        solids.append(flat.extrude(high - low).translate((0.0, 0.0, low)))
    return solids


def minus(whole, cutters):
    return manifold3d.Manifold.batch_boolean([whole, *cutters], manifold3d.OpType.Subtract)


def tile_oracle(shape):
    cutters = [prism(window, -OVER, shape.height + OVER) for window in shape.windows]
    cutters += [socket_air(socket, shape.levels, shape.corner_radius) for socket in shape.sockets]
    return minus(prism(shape.outline, 0.0, shape.height), cutters + text_solids(shape.letterings, shape.height))


def coupon_oracle(shape):
    across, back = len(shape.ladder) * shape.cell, shape.cell + shape.lip
    outline = on_grid(rounded_rectangle(0.0, 0.0, across, back, 0.0, shape.corner_radius))
    cutters = [
        socket_air(Socket(index * shape.cell, shape.lip, shape.cell, shape.cell), levels, shape.corner_radius)
        for index, (_, levels) in enumerate(shape.ladder)
    ]
    return minus(prism(outline, 0.0, shape.height), cutters + text_solids(shape.letterings, shape.height))


def plug_oracle(shape):
    def ring(inset):
        return rounded_rectangle(-shape.inset, -shape.inset, shape.cell, shape.cell, inset, shape.corner_radius)

    foot = [(ring(inset), z) for inset, z in shape.foot_levels]
    solid = stack([*foot, (foot[-1][0], shape.height)], hollow=False)
    return minus(solid, text_solids(shape.letterings, shape.height))

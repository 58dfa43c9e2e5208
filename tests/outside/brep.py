"""Parts drawn in a boundary-representation kernel with true arcs and cones, from the words of the design.

A cell's rounded square, its parallels, levels of inset and height: nothing here comes from worker.solids.
"""

import itertools

import build123d as cad


def slab(size, radius, lower, upper):
    """Return the solid between two parallels of a rounded rectangle: planes, cylinders and cones."""
    (u0, z0), (u1, z1) = lower, upper
    bottom, top = (
        cad.Plane.XY.offset(z) * cad.RectangleRounded(size[0] - 2.0 * u, size[1] - 2.0 * u, radius - u)
        for u, z in (lower, upper)
    )
    return cad.extrude(bottom, z1 - z0) if u0 == u1 else cad.loft([bottom, top], ruled=True)


def stack(size, radius, levels):
    """Return the solid between levels of inset and height, in the middle of x and y."""
    first, *rest = (slab(size, radius, lower, upper) for lower, upper in itertools.pairwise(levels))
    return first.fuse(*rest) if rest else first


def prism(outline, height):
    return cad.extrude(cad.make_face(cad.Polyline(*outline, close=True)), height)


def placed(solid, x, y):
    return cad.Location((x, y, 0.0)) * solid


def tile(shape):
    """Return the plate less its sockets and windows."""
    first = shape.sockets[0]
    air = stack((first.width, first.depth), shape.corner_radius, shape.levels)
    cutters = [placed(air, s.x + s.width / 2.0, s.y + s.depth / 2.0) for s in shape.sockets]
    cutters += [prism(window, shape.height) for window in shape.windows]
    return prism(shape.outline, shape.height).cut(*cutters)


def tray(shape):
    """Return the plain tray: feet, body, room and rim, in the middle of x and y."""
    inset, radius = shape.inset, shape.corner_radius
    columns, rows = (halves // 2 for halves in shape.halves)
    size = (columns * shape.pitch, rows * shape.pitch)
    foot = stack((shape.pitch, shape.pitch), radius, shape.foot_levels)
    shoulder = shape.foot_levels[-1][1]
    body = slab(size, radius, (inset, shoulder), (inset, shape.height))
    inner = inset + shape.wall
    if shape.rim_levels is None:
        room = [(inner, shape.floor_top), (inner, shape.height)]
    else:
        # The toe hangs over the thinner wall; the wall comes back to it at 45 degrees.
        toe, base = shape.rim_levels[0]
        room = [(inner, shape.floor_top), (inner, base - (toe - inner)), *shape.rim_levels]
    feet = [
        placed(foot, (x - (columns - 1) / 2.0) * shape.pitch, (y - (rows - 1) / 2.0) * shape.pitch)
        for x, y in itertools.product(range(columns), range(rows))
    ]
    return body.fuse(*feet).cut(stack(size, radius, room))

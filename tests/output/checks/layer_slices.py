"""A part cut into layers, as a printer lays them: the oracle of the undersides, made of plane sections only."""

import numpy as np
import shapely

_STEP = 0.1


def layer(solid, z):
    """Return the section at a height as a shapely region."""
    return shapely.build_area(
        shapely.MultiLineString([np.vstack([ring, ring[:1]]) for ring in solid.slice(z).to_polygons()])
    )


def layers(mesh):
    """Return the regions of all layers from the bed up; cut in the middle of each."""
    solid = mesh.manifold()
    return [layer(solid, z) for z in np.arange(_STEP / 2.0, float(mesh.bounds[1][2]), _STEP)]


def first_layer(mesh):
    """Return what lies on the bed."""
    return layer(mesh.manifold(), 1e-4)


def floating_pieces(mesh):
    """Count the pieces of layers that touch nothing of the layer below."""
    count, below = 0, None
    for region in layers(mesh):
        if below is not None:
            count += sum(not piece.intersects(below) for piece in shapely.get_parts(region))
        below = region
    return count


def unsupported_area(mesh):
    """Return the area of the layers, all together, that lies further from the layer below than 45 degrees allow."""
    total, below = 0.0, None
    for region in layers(mesh):
        if below is not None:
            total += region.difference(below.buffer(1.2 * _STEP)).area
        below = region
    return total

"""Filament by laying every layer: an independent model on shapely, to hold the estimate against.

Every layer is cut in its middle, every wall is an offset of its own whose line is measured, what lies between lines
that meet is filled, and skins are differences with each of the neighbouring layers. It shares no code with
`worker.printing`; equal sections are worked out once.
"""

from functools import lru_cache

import numpy as np
import shapely

STRAIGHT = {"quad_segs": 8, "join_style": "mitre", "mitre_limit": 2.0}


def section(mesh, z):
    """The plane region at height z, put together from the triangles that cross it."""
    corners = mesh.vertices[mesh.triangles]
    over = corners[:, :, 2] > z
    crossing = mesh.triangles[(over.sum(axis=1) % 3) != 0]
    edges = np.stack([crossing, np.roll(crossing, -1, axis=1)], axis=-1)
    edges.sort(axis=-1)  # both triangles at an edge then meet in the very same point
    edges = edges.reshape(-1, 2)
    low, high = mesh.vertices[edges[:, 0]], mesh.vertices[edges[:, 1]]
    cut = (low[:, 2] > z) != (high[:, 2] > z)
    low, high = low[cut], high[cut]
    share = ((z - low[:, 2]) / (high[:, 2] - low[:, 2]))[:, None]
    points = low[:, :2] + share * (high - low)[:, :2]
    segments = np.round(points.reshape(-1, 2, 2), 7)
    flip = (segments[:, 0, 0] > segments[:, 1, 0]) | (
        (segments[:, 0, 0] == segments[:, 1, 0]) & (segments[:, 0, 1] > segments[:, 1, 1])
    )
    segments[flip] = segments[flip][:, ::-1]
    flat = segments.reshape(-1, 4)
    flat = flat[(flat[:, :2] != flat[:, 2:]).any(axis=1)]
    return np.unique(flat, axis=0).tobytes()


@lru_cache(maxsize=4096)
def region(segments):
    ends = np.frombuffer(segments).reshape(-1, 2, 2)
    return shapely.build_area(shapely.multilinestrings(shapely.linestrings(ends)))


@lru_cache(maxsize=4096)
def laid(segments, walls, width):
    """Area under the walls and between lines that meet, and what is left for skins and infill."""
    area = region(segments)
    plastic, left = 0.0, area
    for _ in range(walls):
        line = left.buffer(-width / 2.0, **STRAIGHT)
        inside = left.buffer(-width, **STRAIGHT)
        opened = line.buffer(width / 2.0, **STRAIGHT)
        # where the lines of both sides would lie over each other one wider line is laid: no more than the room holds
        plastic += min(line.length * width, opened.area - inside.area)
        # no line fits into what is narrower than one: a thin one fills it, down to a tenth of a millimetre
        if left.area - opened.area > 0.01:
            plastic += left.difference(opened).buffer(-0.05, **STRAIGHT).buffer(0.05, **STRAIGHT).area
        left = inside
    narrow = left.difference(left.buffer(-width / 2.0, **STRAIGHT).buffer(width / 2.0 + 1e-6, **STRAIGHT))
    return plastic + narrow.area, left.difference(narrow)


@lru_cache(maxsize=4096)
def covered(segments, neighbours, walls, width):
    inside = laid(segments, walls, width)[1]
    for neighbour in neighbours:
        if neighbour != segments:
            inside = inside.intersection(region(neighbour))
    return inside.area


def filament(mesh, process):
    """mm3 of plastic, layer by layer."""
    low, high = mesh.bounds
    count = round((high[2] - low[2]) / process.layer)
    step = (high[2] - low[2]) / count
    layers = [section(mesh, low[2] + (place + 0.5) * step) for place in range(count)]
    total = 0.0
    for place, segments in enumerate(layers):
        walled, inside = laid(segments, process.walls, process.line_width)
        below, above = place - process.bottom_layers, place + process.top_layers
        sparse = 0.0
        if below >= 0 and above < count:
            near = tuple(dict.fromkeys(layers[below : above + 1]))
            sparse = covered(segments, near, process.walls, process.line_width)
        total += (walled + inside.area - sparse + process.infill * sparse) * step
    return total

"""Print time by moving along every line: an independent model on shapely, to hold the estimate against.

Every layer is walked: each wall as rings of straight moves, solid areas and sparse infill as hatch lines at 45 and 135
degrees in turn, joined by short moves where one line ends near the next. Speed follows a trapezoid from corner to
corner, with a forward and a backward pass over each path (the usual look-ahead of motion planners; the limit at a
corner falls from full speed at 20 degrees to the corner speed at 90: common practice, from memory). It shares no code
with `worker.printing`; equal layers are walked once.
"""

from functools import lru_cache
from itertools import pairwise
from math import atan2, ceil, pi, radians, sqrt

import shapely
from shapely import affinity

from tests.printing.estimating.layer_oracle import STRAIGHT, laid, region, section

#: A gap of less than this between two walls stays empty, in mm.
GAP = 0.1

#: A gap of less area is left to the lines beside it, in mm2.
LEAST_GAP = 1.0

#: A travel move of so many mm needs no retraction (common practice: 1.5 to 2).
SHORT = 2.0

#: Moves of less than this many line widths are extruded on from one hatch line to the next.
NEAR = 3.0


def layers_of(mesh, process):
    """The sections of all layers from below, as `section` gives them."""
    low, high = mesh.bounds
    count = 1 + max(0, ceil((high[2] - low[2] - process.first_layer) / process.layer - 1e-6))
    tops = [low[2] + process.first_layer + place * process.layer for place in range(count)]
    bottoms = [low[2], *tops[:-1]]
    return [section(mesh, (start + min(top, high[2])) / 2.0) for start, top in zip(bottoms, tops, strict=True)]


def move(length, start, end, speed, acceleration):
    """Seconds for a straight move from one speed to another, with a limit between."""
    peak = sqrt((2.0 * acceleration * length + start**2 + end**2) / 2.0)
    if peak <= speed:
        return (2.0 * peak - start - end) / acceleration
    ramps = (2.0 * speed**2 - start**2 - end**2) / (2.0 * acceleration)
    return (2.0 * speed - start - end) / acceleration + (length - ramps) / speed


def path_time(points, speed, process):
    """Seconds along a polyline with look-ahead; it starts and ends at corner speed."""
    steps = [(x - a, y - b) for (a, b), (x, y) in pairwise(points) if (x - a) ** 2 + (y - b) ** 2 > 1e-12]
    if not steps:
        return 0.0
    lengths = [sqrt(x * x + y * y) for x, y in steps]
    corner = min(process.corner_speed, speed)
    limits = [corner]
    for (a, b), (x, y) in pairwise(steps):
        turn = abs(atan2(a * y - b * x, a * x + b * y))
        share = min(max((turn - radians(20.0)) / (pi / 2.0 - radians(20.0)), 0.0), 1.0)
        limits.append(speed + share * (corner - speed))
    limits.append(corner)
    for place, length in enumerate(lengths):
        limits[place + 1] = min(limits[place + 1], sqrt(limits[place] ** 2 + 2.0 * process.acceleration * length))
    for place in range(len(lengths) - 1, -1, -1):
        limits[place] = min(limits[place], sqrt(limits[place + 1] ** 2 + 2.0 * process.acceleration * lengths[place]))
    return sum(
        move(length, limits[place], limits[place + 1], speed, process.acceleration)
        for place, length in enumerate(lengths)
    )


def rings(area):
    for polygon in shapely.get_parts(area):
        if polygon.geom_type == "Polygon" and not polygon.is_empty:
            yield from (list(ring.coords) for ring in (polygon.exterior, *polygon.interiors))


def hatched(area, spacing, angle):
    """Paths of hatch lines over a region: lines that end near each other's start are one path."""
    paths = []
    for polygon in shapely.get_parts(area):
        if polygon.geom_type != "Polygon" or polygon.area < spacing**2 / 4.0:
            continue
        turned = shapely.make_valid(affinity.rotate(polygon, -angle, origin=(0.0, 0.0)))
        left, front, right, back = turned.bounds
        rows = max(1, round((back - front) / spacing))
        lines = [front + row * (back - front) / rows for row in range(1, rows)] if rows > 1 else [(front + back) / 2.0]
        chords = shapely.intersection(turned, shapely.linestrings([((left - 1.0, y), (right + 1.0, y)) for y in lines]))
        open_paths = []
        for chord in chords:
            pieces = sorted(
                (min(p.coords), max(p.coords))
                for p in shapely.get_parts(chord)
                if p.geom_type == "LineString" and p.length > spacing / 4.0
            )
            reached = []
            for start, end in pieces:
                near = None
                for path in open_paths:
                    x, y = path[-1]
                    for first, last in ((start, end), (end, start)):
                        far = sqrt((first[0] - x) ** 2 + (first[1] - y) ** 2)
                        if far < NEAR * spacing and (near is None or far < near[0]):
                            near = far, path, first, last
                if near is None:
                    paths.append([start, end])
                    reached.append(paths[-1])
                else:
                    near[1].extend(near[2:])
                    open_paths = [path for path in open_paths if path is not near[1]]
                    reached.append(near[1])
            open_paths = reached
    return paths


def distance(at, path):
    """The least distance from a point to where a path can be begun: any corner of a ring, either end of a line."""
    corners = path if path[0] == path[-1] else (path[0], path[-1])
    return min((x - at[0]) ** 2 + (y - at[1]) ** 2 for x, y in corners)


def begun_near(at, path):
    if path[0] != path[-1]:
        return path if distance(at, [path[0], path[0]]) <= distance(at, [path[-1], path[-1]]) else path[::-1]
    place = min(range(len(path) - 1), key=lambda n: (path[n][0] - at[0]) ** 2 + (path[n][1] - at[1]) ** 2)
    return path[place:-1] + path[: place + 1]


def walls_of(segments, process, limit):
    """The loops of a layer, each with its speed and the share of its length that is laid."""
    width, left = process.line_width, region(segments)
    for number in range(process.walls):
        line = left.buffer(-width / 2.0, **STRAIGHT)
        inside = left.buffer(-width, **STRAIGHT)
        opened = line.buffer(width / 2.0, **STRAIGHT)
        # lines of both sides that would lie over each other are one wider line: as much path as plastic
        share = min(1.0, (opened.area - inside.area) / max(line.length * width, 1e-9))
        yield from (
            (ring, limit(process.inner_speed if number else process.outer_speed), share) for ring in rings(line)
        )
        # what is left between the walls of both sides is one more line, if a narrower one: half as long as its edges
        gaps = left.difference(opened).buffer(-GAP / 2.0, **STRAIGHT).buffer(GAP / 2.0, **STRAIGHT)
        for gap in shapely.get_parts(gaps):
            if number and gap.geom_type == "Polygon" and gap.area > LEAST_GAP:
                laid_share = gap.length / 2.0 / gap.exterior.length
                yield list(gap.exterior.coords), limit(process.inner_speed), laid_share
        left = inside


def hatches_of(segments, near, angle, process, limit):
    """The hatch lines of a layer, each with its speed; ``near`` are the sections within the skins, None for all."""
    width = process.line_width
    inside = laid(segments, process.walls, width)[1]
    sparse = shapely.Polygon() if near is None else inside
    for neighbour in near or ():
        if neighbour != segments:
            sparse = sparse.intersection(region(neighbour))
    full = inside if sparse.is_empty else inside.difference(sparse)
    for area, spacing, speed in (
        (full, width, process.full_layer_speed),
        (sparse, width / process.infill, process.infill_speed),
    ):
        # lines end half a line short of the walls
        trimmed = area.buffer(-width / 2.0, **STRAIGHT)
        yield from ((path, limit(speed), 1.0) for path in hatched(trimmed, spacing, angle))


@lru_cache(maxsize=4096)
def layer_time(segments, near, first, angle, process):
    """Seconds of extrusion and travel in a layer; ``near`` are the sections within the skins, None for a full layer."""
    flow = process.max_flow / (process.line_width * (process.first_layer if first else process.layer))

    def limit(speed):
        return min(speed, process.first_layer_speed, flow) if first else min(speed, flow)

    paths = [*walls_of(segments, process, limit), *hatches_of(segments, near, angle, process, limit)]
    seconds, at = 0.0, None
    while paths:
        path, speed, share = paths.pop(
            0 if at is None else min(range(len(paths)), key=lambda n: distance(at, paths[n][0]))
        )
        if at is not None:
            path = begun_near(at, path)
            far = sqrt((path[0][0] - at[0]) ** 2 + (path[0][1] - at[1]) ** 2)
            seconds += path_time([at, path[0]], process.travel_speed, process) + process.hop * (far > SHORT)
        seconds += share * path_time(path, speed, process)
        at = path[-1]
    return seconds


def laying(mesh, process):
    """Seconds of extrusion and travel, layer by layer."""
    layers = layers_of(mesh, process)
    total = 0.0
    for place, segments in enumerate(layers):
        below, above = place - process.bottom_layers, place + process.top_layers
        near = tuple(dict.fromkeys(layers[below : above + 1])) if below >= 0 and above < len(layers) else None
        total += layer_time(segments, near, place == 0, 45 if place % 2 else 135, process)
    return total

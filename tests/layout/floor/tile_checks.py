"""What every floor must satisfy, measured on placed polygons: an independent reading of shapes and placements."""

import itertools
import math

import numpy as np
import shapely
from shapely.affinity import rotate, translate
from shapely.geometry import Polygon

from worker.layout.floor.border import least_width, opened
from worker.solids.ring import rounded_rectangle
from worker.spec.tolerances import CLEARANCE_SLACK, CONTAINMENT_SLACK, LINES_IN_A_WALL, WALL_SLACK

#: The way along the outline round a neck is so many times its width; round a corner of 40 degrees 2.7 times its side.
_ROUND = 3.0


def put(area, shape, piece):
    """Turn about z, then move the turned box's least corner to `at`, as `Placement` says."""
    turned = rotate(area, piece.turn, origin=(0.0, 0.0))
    x, y, _, _ = rotate(Polygon(shape.outline), piece.turn, origin=(0.0, 0.0)).bounds
    return translate(turned, piece.at[0] - x, piece.at[1] - y)


def rings(shape, inset):
    return [Polygon(rounded_rectangle(s.x, s.y, s.width, s.depth, inset, shape.corner_radius)) for s in shape.sockets]


def section(shape, inset):
    """The plate at a level: outline less windows less sockets."""
    return Polygon(shape.outline, shape.windows).difference(shapely.union_all(rings(shape, inset)))


def insets(shape):
    return sorted({inset for inset, _ in shape.levels})


def thin(area, wall):
    """What is narrower than the wall: eroded by discs, grown back with sharp corners, the difference; and necks."""
    core = area.buffer(-wall / 2.0, quad_segs=16)
    back = core.buffer(wall / 2.0, join_style="mitre", mitre_limit=5.0)
    lost = area.difference(back.buffer(0.005))
    # less is a corner
    return [part for part in shapely.get_parts(lost) if part.area > 0.15 * wall * wall] + necks(area, wall)


def necks(area, wall):
    """The shortest lines inside the area from corners that point into it to the outline, shorter than the wall.

    Along a corner of the outline such a line is no neck: the way round is hardly longer.
    """
    corners, edges, ring_of, way, whole = [], [], [], [], []
    for number, ring in enumerate(shapely.get_rings(shapely.orient_polygons(area))):
        points = shapely.get_coordinates(ring)[:-1]
        after = np.roll(points, -1, 0) - points
        before, length = np.roll(after, 1, 0), np.hypot(*after.T)
        inwards = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0] < -1e-3 * length * np.roll(length, 1)
        corners += list(np.flatnonzero(inwards) + len(edges))
        edges += list(shapely.linestrings(np.stack([points, points + after], 1)))
        way += list(np.cumsum(length) - length)
        ring_of += [number] * len(points)
        whole += [length.sum()] * len(points)
    edges, ring_of, way, whole = map(np.array, (edges, ring_of, way, whole))
    places = shapely.get_point(edges, 0)
    first, other = shapely.STRtree(edges).query(places[corners], predicate="dwithin", distance=wall)
    first = np.array(corners, dtype=int)[first]
    across = shapely.shortest_line(places[first], edges[other])
    along = abs(way[first] - way[other] - shapely.line_locate_point(edges[other], shapely.get_point(across, -1)))
    round_ = np.minimum(along, whole[first] - along)
    apart = (ring_of[first] != ring_of[other]) | (round_ > _ROUND * shapely.length(across) + 1e-6)
    wide = area.buffer(1e-4)
    shapely.prepare(wide)
    return [line for line in across[apart] if line.length < wall and wide.covers(line)]


def mass(shape, density=1.24):
    """Grams, by closed form: the plate less its sockets, Simpson over each level (the area is quadratic in z)."""
    volume = Polygon(shape.outline, shape.windows).area * shape.height
    for (u0, z0), (u1, z1) in itertools.pairwise(shape.levels):
        areas = [sum(ring.area for ring in rings(shape, u)) for u in (u0, (u0 + u1) / 2.0, u1)]
        volume -= (z1 - z0) * (areas[0] + 4.0 * areas[1] + areas[2]) / 6.0
    return volume * density / 1000.0


def check_shape(shape, line_width):
    outline = Polygon(shape.outline)
    assert outline.is_valid
    assert outline.exterior.is_ccw
    assert outline.bounds[:2] == (0.0, 0.0)
    assert shape.outline[0] == min(shape.outline)
    assert list(shape.sockets) == sorted(shape.sockets, key=lambda s: (s.x, s.y, s.width, s.depth))
    for ring in (shape.outline, *shape.windows):
        points = np.array(ring)
        assert np.allclose(points, np.round(points, 3), atol=1e-12)
        assert Polygon(ring).exterior.is_ccw
    plate = Polygon(shape.outline, shape.windows)
    assert plate.is_valid
    for socket in shape.sockets:
        assert min(socket.width, socket.depth) > 0.0
    wall = LINES_IN_A_WALL * line_width - WALL_SLACK
    for inset in insets(shape):
        cut = section(shape, inset)
        assert cut.geom_type == "Polygon", f"in pieces at inset {inset}"
        assert not thin(cut, wall), f"thin at inset {inset}: {[part.wkt for part in thin(cut, wall)][:3]}"


def check_floor(floor, usable, lattice, *, gap, printer, bed):
    """Every rule that holds for any floor."""
    outlines = [put(Polygon(p.shape.outline, p.shape.windows), p.shape, p) for p in floor.pieces]
    for piece in {p.shape: p for p in floor.pieces}.values():
        check_shape(piece.shape, printer.line_width)
        _, _, width, depth = Polygon(piece.shape.outline).bounds
        assert bed.holds(width, depth), (width, depth)
    room = usable.buffer(CONTAINMENT_SLACK, join_style="mitre")
    for outline in outlines:
        assert room.covers(outline)
    check_cells(floor, lattice)
    check_gaps(floor, outlines, gap)
    check_keys(floor, outlines, gap)
    return outlines


def check_cells(floor, lattice):
    """Every cell is in one tile, where the lattice has it."""
    half = lattice.pitch / 2.0
    expected = [
        (lattice.origin[0] + c.x * half, lattice.origin[1] + c.y * half, c.width * half, c.depth * half)
        for c in lattice.cells
    ]
    cells = []
    for piece in floor.pieces:
        for s in piece.shape.sockets:
            box = put(shapely.box(s.x, s.y, s.x + s.width, s.y + s.depth), piece.shape, piece)
            left, front, right, back = box.bounds
            cells.append((left, front, right - left, back - front))
    assert len(cells) == len(expected)
    tree = shapely.STRtree([shapely.Point(f[:2]) for f in cells])
    for want in expected:
        near = cells[tree.nearest(shapely.Point(want[:2]))]
        assert np.abs(np.array(near) - want).max() < 0.0021


def check_gaps(floor, outlines, gap):
    """Air between any two tiles, exactly the gap where they meet, and nothing of one tile in another's socket."""
    tree = shapely.STRtree(outlines)
    for a, b in tree.query(outlines, predicate="dwithin", distance=gap + 1.0).T:
        if a == b:
            continue
        assert outlines[a].distance(outlines[b]) >= gap - CLEARANCE_SLACK
        piece = floor.pieces[b]
        for ring in rings(piece.shape, insets(piece.shape)[0]):
            assert outlines[a].intersection(put(ring, piece.shape, piece)).area < 1e-6
    for seam in floor.seams:
        assert seam.first < seam.second
        assert seam.gap == gap
        assert abs(outlines[seam.first].distance(outlines[seam.second]) - gap) < CLEARANCE_SLACK


def placed_keys(floor):
    for key in floor.keys:
        yield put(Polygon(key.shape.outline), key.shape, key)


def check_keys(floor, outlines, gap):
    """A key has the same air all around, to its two tiles and to no other: with two that share it, it would slide."""
    tree = shapely.STRtree(outlines)
    for here in placed_keys(floor):
        near = [outlines[i] for i in tree.query(here, predicate="dwithin", distance=gap + 0.1)]
        assert len(near) == 2
        assert all(abs(here.distance(face) - gap) < CLEARANCE_SLACK for face in near)


def stopped(first, second, gap):
    """The directions, of sixteen, in which the second runs into the first when it moves by a little over the play."""
    far = 3.5 * gap + 0.3
    moves = [(far * math.cos(turn), far * math.sin(turn)) for turn in np.arange(16) * math.pi / 8]
    return np.array([translate(second, x, y).intersection(first).area > 0.01 for x, y in moves])


def connected(count, pairs):
    """The sets that the pairs connect, by repeated merging."""
    sets = [{number} for number in range(count)]
    for a, b in pairs:
        first, second = (next(own for own in sets if end in own) for end in (a, b))
        if first is not second:
            sets.remove(second)
            first |= second
    return sorted(sorted(own) for own in sets)


def held_groups(floor, outlines, gap):
    """The tiles that cannot be pulled apart in any direction, alone or through a loose key between them."""
    keys = list(placed_keys(floor))
    pairs = []
    for seam in floor.seams:
        first, second = outlines[seam.first], outlines[seam.second]
        held = stopped(first, second, gap)
        for key in keys:
            if max(key.distance(first), key.distance(second)) < gap + 0.1:
                held |= stopped(first, key, gap) & stopped(key, second, gap)
        if held.all():
            pairs.append((seam.first, seam.second))
    return connected(len(outlines), pairs)


def air_left(floor, usable, outlines, line_width, gap):
    """What is wide enough for a border and still neither covered nor named as too far from the cells."""
    loose = list(placed_keys(floor))
    filled = shapely.union_all(
        [(Polygon(outline.exterior)).buffer(gap, join_style="mitre") for outline in (*outlines, *loose)]
    )
    holes = [put(Polygon(w), p.shape, p) for p in floor.pieces for w in p.shape.windows]
    apart = [Polygon(part.rings[0], part.rings[1:]) for part in floor.plan.left_out if part.reason == "apart"]
    left = usable.difference(filled).difference(shapely.union_all(apart).buffer(0.01))
    assert shapely.union_all(holes).area <= usable.area
    return opened(left, least_width(line_width) / 2.0 + 0.3).area


def fewest(width, depth, fits):
    """Fewest rectangles that cover a grid and each fit, by trying all of them (exact cover, branch and bound)."""
    best = [width * depth]
    areas = [w * d for w in range(1, width + 1) for d in range(1, depth + 1) if fits(w, d)]
    largest = max(areas)

    def go(filled, count):
        full = (1 << width * depth) - 1
        left = width * depth - filled.bit_count()
        if count + math.ceil(left / largest) >= best[0]:
            return
        if filled == full:
            best[0] = count
            return
        spot = (~filled & (filled + 1)).bit_length() - 1
        x, y = spot % width, spot // width
        for w in range(1, width - x + 1):
            for d in range(1, depth - y + 1):
                if not fits(w, d):
                    continue
                mask = 0
                for row in range(y, y + d):
                    mask |= ((1 << w) - 1) << (row * width + x)
                if not mask & filled:
                    go(filled | mask, count + 1)

    go(0, 0)
    return best[0]

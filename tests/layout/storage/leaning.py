"""How far standing things lean: worked out from their boxes and the walls about them, without the planner."""

import itertools

from worker.layout.storage.sizing_rules import AIR

_SLACK = 2e-3  # coordinates are rounded to a micrometre, twice

#: Things that are over three times as high as one of their sides.
UNSTEADY = [
    {"kind": "box", "size": [12, 30, 70]},
    {"kind": "box", "size": [30, 12, 70]},
    {"kind": "cylinder", "diameter": 12, "length": 60},
    {"kind": "cylinder", "diameter": 20, "length": 65},
]


def wall_boxes(shape):
    """Return the boxes of a tray's walls and dividers, seen from above, and of the ledge that what is high leans on."""
    wide, deep = (halves * shape.pitch / 2.0 - 2.0 * shape.inset for halves in shape.halves)
    wall = shape.wall
    boxes = [
        ((0.0, 0.0), (wide, wall)),
        ((0.0, deep - wall - (shape.ledge.depth if shape.ledge else 0.0)), (wide, deep)),
        ((0.0, 0.0), (wall, deep)),
        ((wide - wall, 0.0), (wide, deep)),
    ]
    for inner in shape.walls:
        near, far = inner.at - inner.thickness / 2.0, inner.at + inner.thickness / 2.0
        start, end = inner.span or (0.0, deep if inner.axis == "x" else wide)
        boxes.append(((near, start), (far, end)) if inner.axis == "x" else ((start, near), (end, far)))
    return boxes


def leaning(boxes, walls, wall, beside=()):
    """Return the directions, as an axis and a sign, in which things of one size lean by over 20 degrees.

    They lean together, with the air between them and what is beside them; a stop of this thickness leaves no less than
    5 mm behind it.
    """
    low, high = boxes[0]
    size = [end - start for start, end in zip(low, high, strict=True)]
    wide, deep = (len({round(first[axis], 2) for first, _ in boxes}) for axis in (0, 1))
    most = max(0.35 * size[2], 5.0 + AIR + wall) + 2.0 + AIR * (max(wide, deep) + len(beside))
    return [
        (axis, sign)
        for axis, sign in itertools.product((0, 1), (-1, 1))
        if size[2] > 3.0 * size[axis] and _freest(len(boxes), [*boxes, *beside], walls, axis, sign) > most
    ]


def _freest(number, boxes, walls, axis, sign):
    ways = _free_ways(boxes, walls, axis, sign)
    return max(ways[k] for k in range(number))


def _free_ways(boxes, walls, axis, sign):
    """Return how far each thing can be pushed along an axis, until all before it are pushed against a wall."""
    ways = {}
    faces = [(low[axis], high[axis])[::sign] for low, high in [*boxes, *walls]]
    beside = [(low[1 - axis], high[1 - axis]) for low, high in [*boxes, *walls]]
    for number in sorted(range(len(boxes)), key=lambda k: -sign * faces[k][0]):
        ahead = [
            (sign * (faces[k][0] - faces[number][1]), k)
            for k in range(len(faces))
            if min(beside[k][1], beside[number][1]) - max(beside[k][0], beside[number][0]) > _SLACK
        ]
        ways[number] = min(gap + ways.get(k, 0.0) for gap, k in ahead if gap > -_SLACK)
    return ways

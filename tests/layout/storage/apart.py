"""Whether things are apart as solids: worked out from the spec and from where each thing is, without the planner.

Two things are apart when their heights do not overlap, or their outlines seen from above keep a distance, or they nest:
then one is the other moved along the axis of the pile by the step of the spec, or by more.
"""

import itertools

import shapely
from shapely.affinity import translate
from shapely.geometry import Polygon

_SLACK = 2e-3


def quarter_turns(points):
    """Return a polygon from 0, 0 on, as it is and turned by 90, 180 and 270 degrees."""
    turned, every = [(float(x), float(y)) for x, y in points], []
    for _ in range(4):
        left, front = min(x for x, _ in turned), min(y for _, y in turned)
        every.append(Polygon([(x - left, y - front) for x, y in turned]))
        turned = [(-y, x) for x, y in turned]
    return every


def outline(item, thing):
    """Return what a thing covers seen from above; of a polygon that lies flat its own outline, in one of four turns."""
    x, y, _ = thing.at
    wide, deep, high = thing.pose.size
    if item.shape.kind == "polygon" and thing.pose.axis == "z":
        assert high <= item.shape.height + _SLACK
        drawn = Polygon(thing.pose.outline)
        turns = [turn for turn in quarter_turns(item.shape.points) if turn.symmetric_difference(drawn).area < 0.5]
        assert turns, "the outline is not that of the item"
        return translate(turns[0], x, y)
    return shapely.box(x, y, x + wide, y + deep)


def nested(item, first, other):
    """Whether one of two things lies in the other as the spec says that they nest."""
    if item.nesting_step is None or first.pose != other.pose:
        return False
    offset = [abs(a - b) for a, b in zip(first.at, other.at, strict=True)]
    high = item.shape.length if item.shape.kind == "cylinder" else None
    # along the axis of a cylinder, else upwards
    axis = "xyz".index(first.pose.axis) if high is not None else 2
    moved = [along for along in range(3) if offset[along] > _SLACK]
    return moved == [axis] and offset[axis] >= item.nesting_step - _SLACK


def clashes(item, placed, air):
    """Return the pairs of things of one item that are not apart by this distance."""
    lying = [(thing, outline(item, thing)) for thing in placed]
    pairs = []
    for (first, left), (other, right) in itertools.combinations(lying, 2):
        above = max(first.at[2], other.at[2]) - min(
            first.at[2] + first.pose.size[2], other.at[2] + other.pose.size[2]
        )  # fmt: skip
        leaf = 0.15 * min(first.pose.size)  # leaves of a file touch all but for that
        if above < -_SLACK and left.distance(right) < min(air, leaf) - _SLACK and not nested(item, first, other):
            pairs.append((first, other))
    return pairs


def widest_gap(placed):
    """The widest gap between two neighbours that lie flat, from outline to outline: boxes of bent ones overlap."""
    outlines = [translate(Polygon(thing.pose.outline), *thing.at[:2]) for thing in placed if thing.pose.outline]
    return max((a.distance(b) for a, b in itertools.pairwise(outlines)), default=0.0)

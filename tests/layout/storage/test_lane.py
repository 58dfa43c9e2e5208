"""Trays as lanes: what lies where in them, checked without the code that puts it there."""

import itertools
from collections import Counter
from math import hypot

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tests.layout.storage.apart import clashes, widest_gap
from tests.layout.storage.leaning import UNSTEADY, leaning, wall_boxes
from tests.layout.storage.things import filled_trays, ground, grounds, shapes, standard, thing, things, tray_columns
from worker.layout.storage.lane import LEAST_LANE
from worker.layout.storage.lane_sizing import lanes
from worker.layout.storage.loose import FILL_DEPTH, bulk_volume
from worker.layout.storage.poses import poses
from worker.layout.storage.reach import FINGER_GAP, LEAST_GRIP
from worker.layout.storage.sizing_rules import AIR, FRAME_AIR
from worker.layout.storage.tray_option import POCKET_CLEARANCE, Bulk, Lot
from worker.layout.storage.ways import Kind, natural_ways
from worker.layout.tray.tray_builder import tray_shape
from worker.spec.drawer.joint import CORNER_RADIUS

_modest = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
_SLACK = 2e-3  # coordinates are rounded to a micrometre, twice


def shape_of(option, ground):
    return tray_shape(
        option.tray(),
        joint=ground.joint,
        pitch=ground.pitch,
        line_width=ground.line_width,
        half_feet=option.half_feet,
        pointer="",
    )


def boxes_of(content):
    """The boxes that one lot or heap takes: least and largest corners."""
    if isinstance(content, Bulk):
        return [(content.at, tuple(at + side for at, side in zip(content.at, content.size, strict=True)))]
    return [
        (placed.at, tuple(at + side for at, side in zip(placed.at, placed.pose.size, strict=True)))
        for placed in content.things()
    ]


def room_around(shape, option, low, high):
    """The compartment that a box lies in, per axis from face to face; None where a wall stands in the box.

    It is looked for from the box outwards: the nearest wall on each side of which some part is beside the box.
    """
    sides = [halves * shape.pitch / 2.0 - 2.0 * shape.inset for halves in option.halves]
    room = [[shape.wall, side - shape.wall] for side in sides]
    for wall in shape.walls:
        axis = ("x", "y").index(wall.axis)
        start, end = wall.span or (shape.wall, sides[1 - axis] - shape.wall)
        if start >= high[1 - axis] or end <= low[1 - axis]:
            continue
        near, far = wall.at - wall.thickness / 2.0, wall.at + wall.thickness / 2.0
        if far <= low[axis]:
            room[axis][0] = max(room[axis][0], far)
        elif near >= high[axis]:
            room[axis][1] = min(room[axis][1], near)
        else:
            return None
    return room


several = st.lists(shapes, min_size=1, max_size=4).flatmap(
    lambda forms: st.tuples(
        *(
            st.builds(
                lambda form, **fields: (form, fields),
                st.just(form),
                count=st.integers(1, 40),
                storage=st.sampled_from([None, None, "rows", "upright", "loose"]),
                label=st.sampled_from([False, False, "M4"]),
            )
            for form in forms
        )
    )
)


@_modest
@given(things(), grounds())
@example(
    thing({"kind": "box", "size": [12.1, 57.8, 63.1]}, count=3, storage="loose", access="rarely", label="M4"),
    ground(span=(6, 4), height=55.0, pitch=50.0, line_width=0.63, wall=1.26, floor=1.2),
)
def test_every_tray_holds_its_things_in_its_rooms(item, ground):
    for option in filled_trays([item], ground):
        check_rooms(option, ground)
        assert sum(content.count for content in option.content) <= item.count


@_modest
@given(several, grounds())
def test_every_shared_tray_holds_each_kind_in_a_compartment_of_its_own(forms, ground):
    kinds = [thing(form, f"k{k}", group="g", **fields) for k, (form, fields) in enumerate(forms)]
    options = filled_trays(kinds, ground)
    for option in [*options[:6], *options[-6:]]:
        check_rooms(option, ground)
        for first, other in itertools.combinations(option.content, 2):
            apart = [
                max(
                    min(low[axis] for low, _ in boxes_of(a)) - max(high[axis] for _, high in boxes_of(b))
                    for a, b in ((first, other), (other, first))
                )
                for axis in (0, 1)
            ]
            assert max(apart) >= ground.wall + 2.0 * AIR - 2.0 * _SLACK


def check_rooms(option, ground):
    shape = shape_of(option, ground)
    assert all(
        halves % ground.step == 0 and halves <= most for halves, most in zip(option.halves, ground.span, strict=True)
    )
    assert all(content.capacity >= content.count for content in option.content)
    for content in option.content:
        for low, high in boxes_of(content):
            if option.recess is None:
                room = room_around(shape, option, low, high)
                assert room is not None
                for (start, end), first, last in zip(room, low, high, strict=False):
                    assert start + AIR - _SLACK <= first
                    assert last <= end - AIR + _SLACK
            assert low[2] >= shape.floor_top - _SLACK
            assert high[2] <= option.top + _SLACK
    assert max(shape.height, option.top) <= ground.height - FRAME_AIR + _SLACK


@_modest
@given(things(), grounds())
def test_things_keep_apart_from_each_other_and_from_round_corners(item, ground):
    options = filled_trays([item], ground)
    for option in [*options[:5], *options[-5:]]:
        sides = [halves * ground.pitch / 2.0 - 2.0 * ground.joint.body_inset for halves in option.halves]
        radius = CORNER_RADIUS - ground.joint.body_inset - ground.wall
        assert not clashes(item, list(option.things())[:60], AIR)
        for content in option.content:
            round_ = content.pose.round_radius if isinstance(content, Lot) else 0.0
            for low, high in boxes_of(content):
                # the corner's middle to the thing's own round corner
                dx, dy = (
                    max(
                        ground.wall + radius - low[axis] - round_,
                        high[axis] - round_ - sides[axis] + ground.wall + radius,
                    )
                    for axis in (0, 1)
                )
                if dx > 0.0 and dy > 0.0:
                    air = AIR if option.recess is None else POCKET_CLEARANCE
                    assert hypot(dx, dy) + round_ <= radius - air + 0.02


@_modest
@given(several, grounds())
def test_a_finger_reaches_the_first_thing_of_every_lot(forms, ground):
    kinds = [thing(form, f"k{k}", group="g", **fields) for k, (form, fields) in enumerate(forms)]
    options = filled_trays(kinds, ground)
    for option in [*options[:6], *options[-6:]]:
        if option.recess is not None:
            continue
        shape = shape_of(option, ground)
        for content in option.content:
            assert reached(content, shape, option)


def reached(content, shape, option):
    """Whether something can be taken: loose, out of its walls by a grip, or beside a gap of a finger's breadth."""
    if isinstance(content, Bulk):
        return min(content.size[:2]) >= 20.0
    boxes = boxes_of(content)
    top = max(high[2] for _, high in boxes)
    rod = content.pose.form == "cylinder" and content.pose.axis != "z"
    grip = min(LEAST_GRIP, 0.4 * content.pose.size[2]) if rod else LEAST_GRIP
    if top - shape.height >= grip - 0.3:
        return True
    upper = [(low, high) for low, high in boxes if high[2] >= top - _SLACK]
    (left, right), (front, back) = room_around(shape, option, *upper[0])
    xs = sorted({(low[0], high[0]) for low, high in upper})
    ys = sorted({(low[1], high[1]) for low, high in upper})
    gaps = [
        b - a
        for spans, ends in ((xs, (left, right)), (ys, (front, back)))
        for a, b in zip([ends[0], *(high for _, high in spans)], [*(low for low, _ in spans), ends[1]], strict=True)
    ]
    return max(*gaps, widest_gap(content.things())) >= FINGER_GAP - _SLACK


@_modest
@given(shapes, st.integers(1, 100))
def test_things_stand_unasked_only_where_they_are_stable(form, count):
    item = thing(form, count=count)
    for way, pose in natural_ways(Kind(item.plain, item.count)):
        assert pose in poses(item.plain)
        if way == "stand":
            assert pose.size[2] <= 3.0 * min(pose.size[:2])


@pytest.mark.parametrize(
    ("shape", "count", "ways"),
    [
        ({"kind": "box", "size": [235, 75, 16]}, 1, {"row"}),  # a calliper lies
        ({"kind": "box", "size": [150, 72, 9]}, 1, {"row"}),  # a phone, too
        ({"kind": "cylinder", "diameter": 9, "length": 145}, 12, {"row"}),  # pens
        ({"kind": "cylinder", "diameter": 40, "length": 110}, 6, {"row", "stand"}),  # bottles
        ({"kind": "polygon", "points": [[0, 0], [60, 0], [60, 20], [20, 20], [20, 50]], "height": 20}, 1, {"row"}),
        ({"kind": "standard", "id": "nut-m4"}, 100, {"heap"}),
        ({"kind": "standard", "id": "card-id1"}, 30, {"row", "file"}),
        ({"kind": "box", "size": [50, 50, 90]}, 4, {"row", "stand"}),  # jars as they are given
    ],
)  # fmt: skip
def test_things_are_kept_as_a_person_would_lay_them(shape, count, ways):
    assert {way for way, _ in natural_ways(Kind(thing(shape).plain, count))} == ways


def test_a_storage_that_is_asked_for_is_the_only_one():
    nuts = standard("nut-m4").plain
    assert {way for way, _ in natural_ways(Kind(nuts, 100, "rows"))} == {"row"}
    assert {way for way, _ in natural_ways(Kind(standard("battery-aa").plain, 4, "upright"))} == {"stand"}


def test_bottles_are_held_by_a_third_and_leave_the_rest_to_take_them_by():
    bottles = thing({"kind": "cylinder", "diameter": 40, "length": 110}, count=6, storage="upright")
    for option in filled_trays([bottles], ground(height=150.0)):
        if option.recess is None:
            shape = shape_of(option, ground(height=150.0))
            assert 110.0 / 3.0 <= shape.height - shape.floor_top <= 0.75 * 110.0
            assert option.top == pytest.approx(shape.floor_top + 110.0)
            assert not option.dividers


def test_loose_goods_lie_no_deeper_than_a_finger_and_their_room_is_that_of_random_packing():
    item = standard("nut-m4", count=150)
    for option in filled_trays([item], ground()):
        (bulk,) = option.content
        across, back, depth = bulk.size
        lost = 0.0 if bulk.ramp is None else (1.0 - 3.141592653589793 / 4.0) * bulk.ramp**2 * across
        assert depth <= FILL_DEPTH + _SLACK
        assert across * back * depth - lost >= bulk_volume(item.plain, 150) - 0.1
        assert option.ramp == bulk.ramp


def test_pockets_take_one_thing_each():
    options = filled_trays([standard("hexkey-8", count=5, storage="pocket")], ground())
    assert options
    for option in options:
        assert len(option.tray().pockets) == 5
        stands_out = option.things()[0].pose.size[2] - option.recess
        assert all((pocket.notch is not None) == (stands_out < LEAST_GRIP) for pocket in option.tray().pockets)


def test_nobody_gets_pockets_unasked():
    for item in (standard("hexkey-8", count=5), thing({"kind": "box", "size": [235, 75, 16]}), standard("drill-4")):
        assert all(option.recess is None for option in filled_trays([item], ground()))


def test_every_kind_that_asks_for_a_label_has_it_on_the_shelf_behind_its_compartment():
    kinds = [
        standard("nut-m3", name="M3", count=50, group="g", label=True),
        standard("nut-m8", name="M8", count=30, group="g", label=True),
        standard("washer-m4", name="washers", count=30, group="g"),
    ]
    shared = [option for option in filled_trays(kinds, ground()) if len(option.items) > 1]
    assert shared
    for option in shared:
        tray = option.tray()
        shape = shape_of(option, ground())
        texts = {label for label in tray.labels if label is not None} | ({tray.text.text} if tray.text else set())
        assert texts == set(option.items) & {"M3", "M8"}
        for lettering in shape.letterings:
            at = option.items.index(lettering.text)
            (left, right), (_, back) = room_around(shape, option, *boxes_of(option.content[at])[0])
            assert left < lettering.at[0] < right
            assert back == pytest.approx(shape.wall + shape_depth(shape, option))


def shape_depth(shape, option):
    """The depth of a tray's room."""
    return option.halves[1] * shape.pitch / 2.0 - 2.0 * (shape.inset + shape.wall)


@_modest
@given(several, grounds())
def test_the_same_things_have_the_same_trays(forms, ground):
    kinds = [thing(form, f"k{k}", group="g", **fields) for k, (form, fields) in enumerate(forms)]
    assert [column.key for column in tray_columns(kinds, ground)[1]] == [
        column.key for column in tray_columns(kinds, ground)[1]
    ]


@_modest
@given(st.sampled_from(["card-id1", "card-sd"]), st.integers(2, 40), st.booleans(), grounds())
def test_what_is_filed_cannot_lean_far(name, count, label, ground):
    for option in filled_trays([standard(name, count=count, storage="upright", label=label)], ground):
        if option.recess is not None:
            continue
        shape = shape_of(option, ground)
        (content,) = option.content
        axis = 0 if content.pose.size[0] < content.pose.size[1] else 1
        groups = {}
        for low, high in boxes_of(content):
            room = tuple(room_around(shape, option, low, high)[axis])
            groups.setdefault(room, []).extend((low[axis], high[axis]))
        for (near, far), faces in groups.items():
            # they lean by 20 degrees; where a stop would leave less than 5 mm behind it there is none
            assert far - near - (max(faces) - min(faces)) <= 0.35 * content.pose.size[2] + 5.0 + ground.wall + 2.0


def test_a_file_that_does_not_fill_its_tray_has_a_stop_behind_it():
    whole = ground(half_cells=False)
    options = filled_trays([standard("card-id1", count=12, storage="upright")], whole)
    stopped = [option for option in options if option.recess is None and option.dividers]
    assert stopped
    for option in stopped:
        (content,) = option.content
        axis = 0 if content.pose.size[0] < content.pose.size[1] else 1
        (divider,) = option.dividers
        middle = divider.at + option.wall
        leaves = [high[axis] for _, high in boxes_of(content)]
        # right behind the last leaf, and with room behind it
        assert AIR - _SLACK <= middle - option.wall / 2.0 - max(leaves) <= 5.0
        assert option.halves[axis] * 21.0 - middle > 5.0


@_modest
@given(st.sampled_from(UNSTEADY), st.integers(1, 23), grounds())
@example(UNSTEADY[3], 7, ground(height=110.0))
def test_what_stands_unsteadily_cannot_topple(form, count, ground):
    for option in filled_trays([thing(form, count=count, storage="upright")], ground):
        (content,) = option.content
        size = content.pose.size
        if option.recess is not None or size[2] <= 3.0 * min(size[:2]):
            continue
        walls = wall_boxes(shape_of(option, ground))
        boxes = boxes_of(content)
        assert len(boxes) == content.count
        assert not leaning(boxes, walls, ground.wall), option.halves


def test_a_short_row_is_parted_from_the_others_and_has_a_stop_beside_its_last_thing():
    form, whole = {"kind": "cylinder", "diameter": 20, "length": 65}, ground(height=110.0)
    trays = filled_trays([thing(form, count=7, storage="upright")], whole)
    parted = [(tray.content[0], tray) for tray in trays if tray.recess is None and tray.content[0].capacity >= 9]
    assert parted
    for lot, option in parted:
        shape = shape_of(option, whole)
        rooms = Counter(tuple(map(tuple, room_around(shape, option, *box))) for box in boxes_of(lot))
        assert sorted(rooms.values()) == [1, 6]
        shares = [(far - near) * (end - start) for (near, far), (start, end) in rooms]
        assert min(shares) < 2.0 * 22.0**2  # the last one's room is little larger than itself


def test_a_row_that_does_not_fill_its_tray_has_a_stop_behind_it():
    whole = ground(half_cells=False)
    form = {"kind": "cylinder", "diameter": 12, "length": 60}
    options = filled_trays([thing(form, count=5, storage="upright")], whole)
    stopped = [option for option in options if option.recess is None and option.dividers]
    assert stopped
    for option in stopped:
        shape_of(option, whole)  # the dividers end where they may
        (content,) = option.content
        for divider in option.dividers:
            axis = 0 if divider.axis == "x" else 1
            face = divider.at + option.wall - option.wall / 2.0
            last = max(high[axis] for _, high in boxes_of(content) if high[axis] < face)
            assert AIR - _SLACK <= face - last <= 5.0


@_modest
@given(several, grounds())
def test_small_things_lie_deep_in_narrow_compartments_only_behind_a_ramp(forms, ground):
    kinds = [thing(form, f"k{k}", group="g", **fields) for k, (form, fields) in enumerate(forms)]
    for option in filled_trays(kinds, ground):
        shape = shape_of(option, ground)
        for content in option.content:
            if isinstance(content, Bulk) and not content.ramp:
                ((low, high),) = boxes_of(content)
                room = room_around(shape, option, low, high)
                narrow = min(far - near for near, far in room)
                # a tray is up to 1.2 mm higher than its walls need to be
                assert narrow >= 40.0 - 0.5 or shape.height - shape.floor_top <= 35.0 + 1.5


@pytest.mark.parametrize(("length", "most"), [(39.0, 35.0), (41.0, 50.0)])
def test_a_heap_is_narrow_across_its_length_too(length, most):
    nuts = Kind(standard("nut-m8").plain, 60, "loose")
    heaps = [lane for lane in lanes(nuts, length, ground()) if lane.way == "heap" and lane.width >= 40.0]
    assert heaps
    assert {lane.most for lane in heaps} == {most}


@_modest
@given(shapes, st.integers(1, 12), grounds())
def test_things_that_stand_by_themselves_stand_together(form, count, ground):
    for option in filled_trays([thing(form, count=count, storage="upright")], ground):
        (content,) = option.content
        if option.recess is None and 3.0 * min(content.pose.size[:2]) >= content.pose.size[2]:
            assert not option.dividers


def trays_of(item, ground):
    """The lots of all trays for an item, and the trays."""
    return [(option.content[0], option) for option in filled_trays([item], ground)]


def test_spoons_that_nest_lie_in_a_pile_that_each_raises_by_its_step():
    spoons = thing({"kind": "box", "size": [40, 150, 20]}, count=6, nest=4.0)
    trays = trays_of(spoons, ground())
    assert trays
    one_pile = [lot for lot, _ in trays if len(lot.acrosses) * len(lot.backs) == 1]
    assert one_pile
    for lot in one_pile:
        assert [b - a for a, b in itertools.pairwise(lot.ups)] == pytest.approx([4.0] * 5)
    for lot, option in trays:
        assert not clashes(spoons, option.things(), AIR)
        assert lot.capacity >= 6
    flat = [option.area for _, option in trays_of(spoons.model_copy(update={"nest": None}), ground())]
    assert min(option.area for _, option in trays) <= min(flat)


def test_cups_that_nest_stand_in_a_pile_or_lie_in_a_sleeve():
    cups = thing({"kind": "cylinder", "diameter": 70, "length": 80}, count=6, nest=10.0)
    trays = trays_of(cups, ground(height=160.0))
    axes = {lot.pose.axis for lot, _ in trays}
    assert axes >= {"z"}
    for _, option in trays:
        assert not clashes(cups, option.things(), AIR)
    lying = trays_of(cups.model_copy(update={"pose": "flat"}), ground(height=100.0))
    assert lying
    assert {lot.pose.axis for lot, _ in lying} <= {"x", "y"}


_SPANNER = [[0, 0], [34, 0], [24, 40], [20, 160], [14, 160], [10, 40]]


def test_tapered_tools_lie_head_to_tail_and_take_less_width():
    tools = thing({"kind": "polygon", "points": _SPANNER, "height": 8}, count=6)
    box = thing({"kind": "box", "size": [34, 160, 8]}, count=6, pose="flat")
    lots = [(lot, option) for lot, option in trays_of(tools, ground()) if lot.alternate is not None]
    assert lots
    for lot, option in lots:
        assert not clashes(tools, option.things(), AIR)
        # every other one is turned round
        turns = {thing.pose.outline for thing in option.things()}
        assert len(turns) == 2, lot
    tapered, square = (
        min(lane.width for lane in lanes(Kind.of(item), 180.0, ground()) if lane.layers == 1) for item in (tools, box)
    )
    # five of six rows lie nearer by what the spanner's waist is narrower than its jaw
    assert tapered < square - 5 * 5.0


@pytest.mark.parametrize(
    ("pose", "height"), [("flat", 20.0), ("on_edge", 60.0), ("upright", 90.0), ("as_given", 60.0)]
)  # fmt: skip
def test_things_are_kept_in_the_pose_that_was_asked_for(pose, height):
    item = thing({"kind": "box", "size": [90, 20, 60]}, count=2, pose=pose)
    trays = trays_of(item, ground(height=130.0))
    assert trays
    assert {lot.pose.size[2] for lot, _ in trays} == {height}


def test_soft_things_are_pressed_and_lie_deeper_than_firm_ones():
    cloths = thing({"kind": "box", "size": [120, 100, 30]}, count=6, soft={"height": 18})
    for lot, _ in trays_of(cloths, ground(height=130.0)):
        if isinstance(lot, Lot):
            assert 18.0 in lot.pose.size
            assert 30.0 not in lot.pose.size
    socks = thing({"kind": "cylinder", "diameter": 70, "length": 90}, count=10, soft={"fill": 0.8}, storage="loose")
    heaps = [bulk for bulk, _ in trays_of(socks, ground(height=130.0))]
    assert heaps
    each = 3.14159265 / 4 * 70**2 * 90 / 0.8
    for bulk in heaps:
        assert bulk.size[2] > FILL_DEPTH
        assert bulk.size[0] * bulk.size[1] * bulk.size[2] >= bulk.count * each - 1.0


def test_soft_things_are_piled_as_high_as_they_lie_in_a_heap():
    # folded clothes are piled higher than a hand digs through firm things (common practice)
    def highest(**fields):
        cloths = thing({"kind": "box", "size": [120, 100, 18]}, count=12, pose="flat", **fields)
        lots = [lot for lot, _ in trays_of(cloths, ground(height=160.0)) if isinstance(lot, Lot)]
        return max(len(lot.ups) * lot.pose.size[2] for lot in lots)

    assert highest() <= 45.0
    assert 90.0 < highest(soft={"height": 18}) <= 110.0


def test_a_high_pile_of_soft_things_is_held_by_more_than_its_foot():
    cloths = thing({"kind": "box", "size": [120, 100, 18]}, count=12, pose="flat", soft={"height": 18})
    for lot, option in trays_of(cloths, ground(height=160.0)):
        if isinstance(lot, Lot) and len(lot.ups) * 18.0 > 60.0:
            assert option.height > len(lot.ups) * 18.0 / 2.0


#: Things that stand filed, many of them in groups.
_files = st.builds(
    lambda thick, count: thing({"kind": "box", "size": [thick, 60, 40]}, count=count, storage="upright"),
    st.floats(1.0, 6.0),
    st.integers(2, 80),
)


@_modest
@given(things() | _files, st.floats(30.0, 250.0), st.floats(0.0, 80.0), st.booleans())
def test_what_lies_in_a_lane_keeps_to_it_and_clear_of_its_stops(item, length, spare, stop):
    limits = ground()
    every = [lane for lane in lanes(Kind.of(item, item.count), length, limits) if lane.way != "heap"]
    for lane in every[:: max(1, len(every) // 6)]:
        lot, stops = lane.fill("x", 10.0, lane.width + spare, (20.0, length), 0, limits, 40.0, stop=stop)
        placed = list(lot.things())
        assert (len(placed), lot.capacity) == (lane.count, lane.capacity)
        if lot.alternate is None:  # the boxes of what lies head to tail overlap
            assert not clashes(item, placed, AIR)
        for axis, (begin, end) in enumerate(((10.0, 10.0 + lane.width + spare), (20.0, 20.0 + length))):
            assert min(own.at[axis] for own in placed) >= begin - _SLACK
            assert max(own.at[axis] + own.pose.size[axis] for own in placed) <= end + _SLACK
        for wall in (own for own in stops if own.span == (None, None)):
            low, high = wall.at - limits.wall / 2.0, wall.at + limits.wall / 2.0
            ends = [(own.at[wall.axis], own.at[wall.axis] + own.pose.size[wall.axis]) for own in placed]
            assert all(end <= low + _SLACK or begin >= high - _SLACK for begin, end in ends)
            if lane.way == "file" and len(stops) > lane.inner:  # all groups are pushed against their stops
                assert low - max(end for _, end in ends if end <= low + _SLACK) <= LEAST_LANE

import itertools
from math import hypot

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import ground, grounds, standard, thing, things
from worker.layout.storage.in_rows import FINGER_BREADTH, FINGER_GAP
from worker.layout.storage.loose import FILL_DEPTH, bulk_volume
from worker.layout.storage.sizing_rules import AIR, FRAME_AIR
from worker.layout.storage.tray_option import MOST_OPTIONS, POCKET_CLEARANCE, Bulk, Lot
from worker.layout.storage.tray_sizes import options, shortfall, storages
from worker.layout.storage.upright import UPRIGHT_SUPPORT
from worker.layout.tray.interior import UNDER_RIM
from worker.layout.tray.tray_builder import tray_shape
from worker.spec.drawer.joint import CORNER_RADIUS

_modest = settings(max_examples=60, deadline=None)
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


def boxes(option):
    """The boxes that things and heaps take: least and largest corners."""
    for content in option.content:
        if isinstance(content, Bulk):
            yield content.at, tuple(at + side for at, side in zip(content.at, content.size, strict=True))
    for placed in option.things():
        yield placed.at, tuple(at + side for at, side in zip(placed.at, placed.pose.size, strict=True))


@_modest
@given(things(), grounds())
@example(  # the height, rounded to the grid, was a tenth of a micrometre short of the heap
    thing({"kind": "box", "size": [12.1, 57.8, 63.1]}, count=3, storage="loose", access="rarely", label="M4"),
    ground(span=(6, 4), height=55.0, pitch=50.0, line_width=0.63, wall=1.26, floor=1.2),
)
def test_every_option_is_a_tray_that_holds_all_things_in_its_rooms(item, ground):
    for option in options(item, ground):
        shape = shape_of(option, ground)
        assert all(
            halves % ground.step == 0 and halves <= most
            for halves, most in zip(option.halves, ground.span, strict=True)
        )
        assert sum(content.count for content in option.content) == item.count
        assert all(content.capacity >= content.count for content in option.content)
        columns, rows = (spans_of(shape, axis, option.halves[index]) for index, axis in enumerate(("x", "y")))
        for low, high in boxes(option):
            if option.recess is None:
                assert inside(low[0], high[0], columns)
                assert inside(low[1], high[1], rows)
            assert low[2] >= shape.floor_top - _SLACK
            assert high[2] <= option.top + _SLACK
        assert max(shape.height, option.top) <= ground.height - FRAME_AIR + _SLACK
        if option.rim == "stacking":
            assert max(high[2] for _, high in boxes(option)) <= shape.height - ground.joint.height - UNDER_RIM + _SLACK


def spans_of(shape, axis, halves):
    """The rooms along one axis, from face to face."""
    side = halves * shape.pitch / 2.0 - 2.0 * shape.inset
    faces = [shape.wall]
    for wall in shape.walls:
        if wall.axis == axis:
            faces += [wall.at - wall.thickness / 2.0, wall.at + wall.thickness / 2.0]
    faces.append(side - shape.wall)
    return list(zip(faces[::2], faces[1::2], strict=True))


def inside(low, high, rooms):
    return any(start + AIR - _SLACK <= low and high <= end - AIR + _SLACK for start, end in rooms)


@_modest
@given(things(), grounds())
def test_things_keep_apart_from_each_other_and_from_round_corners(item, ground):
    for option in options(item, ground):
        sides = [halves * ground.pitch / 2.0 - 2.0 * ground.joint.body_inset for halves in option.halves]
        radius = CORNER_RADIUS - ground.joint.body_inset - ground.wall
        placed = list(option.things())[:60]
        for first, other in itertools.combinations(placed, 2):
            gaps = [
                max(a, b) - min(a + m, b + n)
                for a, m, b, n in zip(first.at, first.pose.size, other.at, other.pose.size, strict=True)
            ]
            thin = min(first.pose.size) * 0.15  # leaves of a file
            assert max(gaps[:2]) >= min(AIR, thin) - _SLACK or gaps[2] >= -_SLACK
        rounds = [thing.pose.round_radius for thing in placed] or [0.0] * len(option.content)
        for (low, high), round_ in zip(boxes(option), rounds, strict=False):
            # the corner's middle to the thing's own round corner
            dx, dy = (
                max(ground.wall + radius - low[axis] - round_, high[axis] - round_ - sides[axis] + ground.wall + radius)
                for axis in (0, 1)
            )
            if dx > 0.0 and dy > 0.0:
                air = AIR if option.recess is None else POCKET_CLEARANCE
                assert hypot(dx, dy) + round_ <= radius - air + 0.02


@_modest
@given(things(), grounds())
def test_no_option_beats_another_and_they_are_few_and_the_same_each_time(item, ground):
    ways = options(item, ground)
    assert len(ways) <= MOST_OPTIONS
    assert ways == options(item, ground)
    for first, other in itertools.permutations(ways, 2):
        assert not (
            first.rim == other.rim
            and first.halves[0] <= other.halves[0]
            and first.halves[1] <= other.halves[1]
            and first.top <= other.top
            and first.plastic <= other.plastic
        )
    if not ways:
        lack = shortfall(item, ground)
        assert lack.needed > 0.0
        assert lack.needed > lack.there or lack.what != "height"
        if lack.what == "height":
            higher = ground.__class__(**{**fields(ground), "height": lack.needed + 0.001})
            assert options(item, higher)


def fields(ground):
    return {name: getattr(ground, name) for name in ground.__dataclass_fields__}


def test_cells_stand_or_lie_and_small_fasteners_are_poured():
    assert storages(standard("battery-aa", count=24)) == ("rows", "upright")
    assert storages(standard("nut-m4", count=100)) == ("loose",)
    assert storages(standard("card-id1", count=30)) == ("upright", "rows")
    assert storages(standard("drill-5", count=6)) == ("rows", "pocket")
    assert storages(standard("nut-m4", count=100, storage="rows")) == ("rows",)


def test_rows_leave_a_gap_for_a_finger_at_an_end_of_each():
    for option in options(standard("pen-ball", count=8, storage="rows", access="often"), ground()):
        (lot,) = option.content
        axis = 0 if len(lot.acrosses) < len(lot.backs) else 1
        starts, size = (lot.acrosses, lot.backs)[axis], lot.pose.size[axis]
        side = option.halves[axis] * 21.0 - 0.5 - 1.2
        gaps = [b - a - size for a, b in itertools.pairwise((*starts, side))][::2]
        assert min(gaps) >= FINGER_GAP
        assert option.halves[1 - axis] * 21.0 - 2.9 >= FINGER_BREADTH


def test_a_standing_thing_is_held_by_its_share_and_stands_out():
    for option in options(standard("battery-aa", count=12, storage="upright"), ground()):
        (lot,) = option.content
        shape = shape_of(option, ground())
        assert UPRIGHT_SUPPORT * 50.5 - 0.3 <= shape.height - shape.floor_top <= 0.75 * 50.5
        assert option.top == pytest.approx(shape.floor_top + 50.5)
        assert lot.pose.axis == "z"


def test_loose_goods_lie_no_deeper_than_a_finger_and_their_room_is_that_of_random_packing():
    item = standard("nut-m4", count=150)
    for option in options(item, ground()):
        (bulk,) = option.content
        across, back, depth = bulk.size
        assert depth <= FILL_DEPTH
        lost = (1 - 3.14159265 / 4) * bulk.ramp**2 * across if bulk.ramp else 0.0
        assert across * back * depth - lost >= bulk_volume(item.plain, 150) - 0.1
        assert option.ramp == bulk.ramp


def test_pockets_take_one_thing_each():
    for option in options(thing({"kind": "box", "size": [40, 20, 12]}, count=5, storage="pocket"), ground()):
        assert len(option.tray().pockets) == 5
        stands_out = option.content[0].pose.size[2] - option.recess
        assert all((pocket.notch is not None) == (stands_out < 6.0) for pocket in option.tray().pockets)
    for option in options(standard("battery-aa", count=5, storage="pocket"), ground()):
        kinds = {pocket.shape for pocket in option.tray().pockets}
        assert kinds in ({"circle"}, {"rectangle"})


def test_no_pocket_is_narrower_than_can_be_printed():
    ways = options(standard("card-id1", storage="pocket"), ground())
    assert ways
    assert {option.content[0].pose.size[2] for option in ways} == {0.84}


def test_a_hexagon_key_keeps_its_outline():
    ways = options(standard("hexkey-8", count=2, storage="pocket"), ground(height=40.0))
    assert {pocket.shape for option in ways for pocket in option.tray().pockets} == {"polygon"}


def test_what_is_stacked_may_have_either_rim_and_nothing_stands_out_of_a_stacking_one():
    ways = options(standard("battery-aa", count=12, stack=True), ground())
    assert {option.rim for option in ways} == {"straight", "stacking"}
    assert {option.rim for option in options(standard("battery-aa", count=12), ground())} == {"straight"}


def test_a_label_stands_on_a_ledge_or_on_the_front_of_pockets():
    for option in options(standard("nut-m4", count=100, label="M4"), ground()):
        tray = option.tray()
        assert tray.label_ledge is not None
        assert tray.text.face == "ledge"
    for option in options(standard("hexkey-8", count=2, storage="pocket", label="8"), ground()):
        tray = option.tray()
        assert tray.label_ledge is None
        assert tray.text.face == "front"


def test_what_is_too_high_says_how_high_the_drawer_would_have_to_be():
    item = standard("drill-5", count=10, storage="upright")
    lack = shortfall(item, ground(height=70.0))
    assert (lack.what, lack.there) == ("height", 70.0)
    assert lack.needed == pytest.approx(ground().floor_top + 86.0 + FRAME_AIR, abs=1e-3)
    assert options(item, ground(height=lack.needed))


def test_what_is_too_long_says_how_many_half_cells_it_would_need():
    lack = shortfall(thing({"kind": "box", "size": [300, 30, 20]}), ground(span=(8, 8)))
    assert (lack.what, lack.there) == ("area", 8.0)
    assert lack.needed * 21.0 > 300.0


@given(st.integers(1, 400))
@settings(max_examples=30, deadline=None)
def test_more_things_never_take_less_room(count):
    few, many = (options(standard("nut-m5", count=n, storage="loose"), ground()) for n in (count, count + 50))
    if many:
        assert min(option.area for option in few) <= min(option.area for option in many)


def test_lots_count_out_their_things_from_the_bottom():
    (option, *_) = options(standard("battery-aa", count=7, storage="rows", access="rarely"), ground())
    (lot,) = option.content
    assert isinstance(lot, Lot)
    placed = option.things()
    assert len(placed) == 7
    assert [thing.at[2] for thing in placed] == sorted(thing.at[2] for thing in placed)
    assert {thing.item for thing in placed} == {"thing"}

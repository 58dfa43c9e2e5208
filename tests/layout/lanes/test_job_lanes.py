"""Lanes for items: what lies where, the panels around it, the floor beside it, and why something has no lane."""

import itertools

import manifold3d
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.planner import lay_out
from worker.output.checks.assembly_checks import check_assembly, placed
from worker.output.meshes.standing import standing
from worker.solids import build
from worker.spec import load
from worker.spec.errors import DrawerwrightError


def thing(name, *size, **fields):
    return {"name": name, "shape": {"kind": "box", "size": list(size)}, "storage": "lane", **fields}


def lane_plan(*items, width=800, depth=500, height=120, floor="none", of_job=(), bed=(256, 256, 256), **fields):
    drawer = {"name": "low", "width": width, "depth": depth, "height": height, "floor": floor, "items": list(items)}
    spec = {"spec": "1", "name": "lanes", "coupon": False, "printer": {"bed": list(bed)}, "items": list(of_job)}
    return lay_out(load({**spec, "drawers": [{**drawer, **fields}]}))


def only(plan):
    (drawer,) = plan.drawers
    return drawer


TOWELS = thing("towels", 300, 200, 50, count=6)
ROLLS = {"name": "rolls", "shape": {"kind": "cylinder", "diameter": 45, "length": 310}, "count": 3, "storage": "lane"}


def test_things_of_one_kind_take_the_whole_drawer_without_a_panel():
    drawer = only(lane_plan(TOWELS, width=960, depth=260))
    assert [(lane.at, lane.size) for lane in drawer.lanes] == [((0.0, 0.0), (959.0, 259.0))]
    assert drawer.panels == ()
    assert [(stored.item, stored.count, stored.lane, stored.placement) for stored in drawer.contents] == [
        ("towels", 6, 0, None)
    ]


def test_a_panel_stands_between_two_kinds():
    drawer = only(lane_plan(TOWELS, ROLLS))
    assert len(drawer.panels) >= 1
    assert {stored.item for stored in drawer.contents} == {"towels", "rolls"}
    assert len({stored.lane for stored in drawer.contents}) == 2


def test_without_a_floor_things_without_a_storage_lie_in_lanes():
    plan = lane_plan({**TOWELS, "storage": None})
    assert [stored.storage for stored in only(plan).contents] == ["lane"]
    refused = lane_plan({**TOWELS, "storage": "rows"})
    (missing,) = refused.unplaced
    assert (missing.cause, missing.pointer) == ("floor", "/drawers/0/items/0")


def test_piles_are_no_higher_than_the_drawer_and_pressed_where_soft():
    tops = {}
    for soft in (None, {"height": 25}):
        drawer = only(lane_plan({**TOWELS, "soft": soft}))
        (stored,) = drawer.contents
        tops[soft is not None] = stored.size
    assert tops[False][2] == 100.0
    assert tops[True][2] <= 118.0
    assert tops[True][0] * tops[True][1] < tops[False][0] * tops[False][1]


def test_nested_cups_stand_in_each_other():
    cups = {"name": "cups", "shape": {"kind": "cylinder", "diameter": 73, "length": 92}, "count": 4, "storage": "lane"}
    (stored,) = only(lane_plan({**cups, "nest": 8}, height=130)).contents
    assert stored.size == (73.0, 73.0, 92.0 + 3 * 8.0)
    (stored,) = only(lane_plan(cups, height=130)).contents
    assert stored.size[2] == 73.0  # without nesting they lie


def test_things_lie_between_panels_of_the_list():
    panels = [{"along": "x", "at": 250, "height": 80}, {"along": "y", "at": 400, "height": 80}]
    drawer = only(lane_plan({**TOWELS, "count": 2}, ROLLS, panels=panels))
    assert len(drawer.panels) == 2
    assert len(drawer.lanes) == 4
    assert {stored.item for stored in drawer.contents} == {"towels", "rolls"}


def test_a_floor_keeps_the_cells_that_lanes_leave():
    bare = only(lane_plan(floor="tiles"))
    drawer = only(lane_plan(ROLLS, floor="tiles"))
    assert 0 < drawer.whole < bare.whole
    (lane,) = (drawer.lanes[stored.lane] for stored in drawer.contents)
    left, front = drawer.lattice.origin
    across, back = drawer.lattice.span
    right, far = left + across * 21.0, front + back * 21.0
    assert right <= lane.at[0] or far <= lane.at[1]
    (boundary,) = (panel for panel in drawer.panels if panel.name == "row 1")
    assert len(boundary.shoes) == 2


def test_a_job_item_goes_to_the_drawer_without_a_floor():
    drawers = [
        {"name": name, "width": 800, "depth": 500, "height": 120, "floor": floor}
        for name, floor in (("top", "tiles"), ("low", "none"))
    ]
    spec = {"spec": "1", "name": "k", "coupon": False, "printer": {"bed": [256, 256, 256]}, "items": [TOWELS]}
    plan = lay_out(load({**spec, "drawers": drawers}))
    assert [len(drawer.contents) for drawer in plan.drawers] == [0, 1]


def test_what_is_used_rarely_lies_behind():
    drawer = only(
        lane_plan(
            thing("often", 700, 120, 60, access="often"),
            thing("rarely", 700, 120, 60, access="rarely"),
            width=760, depth=400,
        )
    )  # fmt: skip
    at = {stored.item: stored.at for stored in drawer.contents}
    assert at["rarely"][1] > at["often"][1]


@pytest.mark.parametrize(
    ("item", "cause"),
    [(thing("tall", 100, 100, 119), "height"), (thing("long", 820, 40, 40), "shape"),
     (thing("many", 300, 200, 50, count=60), "shape")],
)  # fmt: skip
def test_what_has_no_lane_has_a_reason(item, cause):
    (missing,) = lane_plan(item).unplaced
    assert missing.cause == cause
    assert missing.reason
    assert missing.drawer == "low"


def test_the_remedy_of_keeping_fewer_works():
    (missing,) = lane_plan(thing("many", 300, 200, 50, count=60)).unplaced
    most = int(missing.remedy.split("at most ")[1].split()[0])
    assert not lane_plan(thing("many", 300, 200, 50, count=most)).unplaced
    assert lane_plan(thing("many", 300, 200, 50, count=most + 1)).unplaced


def test_an_item_in_a_lane_has_no_tray_fields():
    for field, value in (("at", [0, 0]), ("stack", True)):
        with pytest.raises(DrawerwrightError) as caught:
            lane_plan({**TOWELS, field: value})
        assert caught.value.pointer == f"/drawers/0/items/0/{field}"


@st.composite
def lists(draw):
    """Draw a list of things for lanes, and a drawer."""
    items = []
    for number in range(draw(st.integers(1, 5))):
        size = [draw(st.integers(*ends)) for ends in ((60, 450), (40, 300), (8, 100))]
        access = draw(st.sampled_from(["often", "sometimes", "rarely"]))
        items.append(thing(f"thing {number}", *size, count=draw(st.integers(1, 10)), access=access))
    width, depth, height = draw(st.integers(250, 1200)), draw(st.integers(200, 700)), draw(st.integers(45, 200))
    floor = draw(st.sampled_from(["none", "tiles"]))
    return items, {"width": width, "depth": depth, "height": height, "floor": floor}


@settings(deadline=None, max_examples=30)
@given(lists())
def test_things_meet_neither_each_other_nor_a_part_and_nothing_is_lost(drawn):
    items, fields = drawn
    plan = lane_plan(*items, **fields)
    drawer = only(plan)
    assert len(drawer.contents) + len(plan.unplaced) == len(items)
    meshes = {part.mark: build(part.shape) for part in plan.parts}
    assert [check for check in check_assembly(plan, meshes) if not check.passed] == []
    upright = standing(drawer.placements, meshes)
    parts = [placed(upright[place.mark].manifold(), place) for place in drawer.placements]
    lying = []
    for stored in drawer.contents:
        assert stored.count <= stored.capacity
        assert stored.at[2] + stored.size[2] <= fields["height"] - 2.0
        lane = drawer.lanes[stored.lane]
        for axis in (0, 1):
            assert lane.at[axis] <= stored.at[axis]
            assert stored.at[axis] + stored.size[axis] <= lane.at[axis] + lane.size[axis]
        lying.append(manifold3d.Manifold.cube(stored.size).translate(stored.at))
    for first, other in itertools.combinations(lying, 2):
        assert (first ^ other).volume() == 0.0
    for block, part in itertools.product(lying, parts):
        assert (block ^ part).volume() < 1e-3

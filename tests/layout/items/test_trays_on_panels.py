"""Trays that the layout puts on panels: what lies in them, what is below them, and what carries them."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from tests.layout.relayout.printed_manifest import again, first
from worker.layout.placement.layers.upper_trays import LEAST_BALANCE
from worker.layout.planner import lay_out
from worker.output.checks.assembly_checks import check_assembly
from worker.solids import build
from worker.spec import load

RANKS = ("often", "sometimes", "rarely")


def long_item(name, width, high, **fields):
    shape = {"kind": "box", "size": [360, width, high]}
    return {"name": name, "shape": shape, "storage": "lane", "access": "rarely"} | fields


LONG = (long_item("mats", 80, 30), long_item("pin", 70, 40), long_item("paper", 80, 35))
SMALL = (
    {
        "name": "pegs",
        "shape": {"kind": "box", "size": [70, 12, 12]},
        "count": 12,
        "storage": "loose",
        "access": "often",
    },
    {
        "name": "clips",
        "shape": {"kind": "box", "size": [40, 20, 10]},
        "count": 9,
        "storage": "loose",
        "access": "often",
    },
)


def spec_of(*items, height=130, depth=360, **fields):
    drawer = {"name": "top", "width": 420, "depth": depth, "height": height, "items": list(items), **fields}
    return {"spec": "1", "name": "kitchen", "drawers": [drawer], "printer": {"bed": [450, 450, 256]}, "coupon": False}


def laid(*items, **fields):
    return lay_out(load(spec_of(*items, **fields)))


def assert_held(plan, items):
    """Check that each tray on panels covers only what is lower and used no more often, and count all things."""
    (drawer,) = plan.drawers
    access = {item["name"]: RANKS.index(item.get("access", "sometimes")) for item in items}
    lots = [(lot, box(*lot.at[:2], lot.at[0] + lot.size[0], lot.at[1] + lot.size[1])) for lot in drawer.contents]
    sizes = {part.mark: part.size for part in plan.parts}
    for upper in drawer.upper:
        if not upper.panels:
            continue
        place = drawer.placements[upper.placement]
        wide, deep, high = sizes[place.mark]
        area = box(place.at[0], place.at[1], place.at[0] + wide, place.at[1] + deep)
        assert box(0, 0, *drawer.size[:2]).covers(area)
        assert upper.z + high <= drawer.size[2] - 2.0 + 1e-6
        assert upper.balance is None or upper.balance >= LEAST_BALANCE
        own = [access[lot.item] for lot, _ in lots if lot.placement == upper.placement]
        for lot, covered in lots:
            if lot.placement != upper.placement and covered.intersects(area) and lot.at[2] < upper.z:
                assert lot.at[2] + lot.size[2] <= upper.z + 1e-6
                assert access[lot.item] >= min(own)
    for item in items:
        count = sum(lot.count for lot in drawer.contents if lot.item == item["name"])
        lacking = sum(lack.count for lack in plan.unplaced if lack.item == item["name"])
        assert count + lacking == item.get("count", 1)


@pytest.mark.parametrize("floor", [{"floor": "none"}, {"lane_floor": "tiles"}])
def test_what_finds_no_place_lies_in_a_tray_on_panels(floor):
    assert {lack.item for lack in laid(*LONG, *SMALL, height=60, **floor).unplaced} == {"pegs", "clips"}
    plan = laid(*LONG, *SMALL, **floor)
    assert plan.unplaced == ()
    (drawer,) = plan.drawers
    assert drawer.upper
    assert_held(plan, (*LONG, *SMALL))
    tray = plan.part(drawer.placements[drawer.upper[0].placement].mark).tray
    assert tray.grip
    meshes = {part.mark: build(part.shape) for part in plan.parts}
    checks = check_assembly(plan, meshes)
    assert {"rests", "tips", "lifted out"} <= {check.name for check in checks}
    assert [check for check in checks if not check.passed] == []


def test_panels_keep_a_tray_from_sliding_where_there_is_room_to_move_them():
    plan = laid(*LONG, *SMALL, floor="none")
    assert not any("friction" in warning.message for warning in plan.warnings)


def test_nothing_that_is_used_often_is_covered_by_what_is_used_less():
    often = [{**item, "access": "often"} for item in LONG]
    rarely = [{**item, "access": "rarely"} for item in SMALL]
    plan = laid(*often, *rarely, floor="none")
    assert plan.drawers[0].upper == ()
    assert {lack.item for lack in plan.unplaced} == {"pegs", "clips"}


def test_what_may_not_stack_and_what_is_for_lanes_lies_in_no_tray_on_panels():
    fixed = [{**item, "stack": False} for item in SMALL]
    plan = laid(*LONG, *fixed, long_item("more", 200, 30), floor="none")
    assert plan.drawers[0].upper == ()
    assert {"pegs", "clips", "more"} <= {lack.item for lack in plan.unplaced}


def test_a_tray_goes_on_panels_of_the_list_as_high_as_these_are():
    panels = [{"along": "x", "at": at, "height": 60, "name": f"p{at:g}"} for at in (105.5, 231.5)]
    plan = laid(*LONG, *SMALL, floor="none", panels=panels)
    (drawer,) = plan.drawers
    assert [panel.top for panel in drawer.panels] == [60.0, 60.0]
    assert plan.unplaced == ()
    assert_held(plan, (*LONG, *SMALL))


@pytest.mark.parametrize("floor", [{"floor": "none"}, {"lane_floor": "tiles"}])
def test_a_printed_tray_on_panels_stays(floor):
    spec = spec_of(*LONG, *SMALL, **floor)
    before = first(spec)
    assert before.drawers[0].upper
    plan = again(spec, before)
    assert [tray.z for tray in plan.drawers[0].upper] == [tray.z for tray in before.drawers[0].upper]
    assert not plan.changes.new


_LONGS = st.lists(
    st.tuples(st.sampled_from([60, 80, 110]), st.sampled_from([20, 35, 60]), st.sampled_from(RANKS)),
    min_size=2,
    max_size=4,
)
_SMALLS = st.lists(
    st.tuples(st.sampled_from([30, 70, 140]), st.sampled_from([10, 25]), st.integers(1, 8), st.sampled_from(RANKS)),
    min_size=1,
    max_size=3,
)


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(_LONGS, _SMALLS, st.sampled_from([90, 130, 160]), st.sampled_from(["none", "tiles"]))
def test_every_tray_on_panels_is_over_lower_things(longs, smalls, height, lane_floor):
    items = [long_item(f"l{k}", wide, high, access=rank) for k, (wide, high, rank) in enumerate(longs)]
    for k, (length, wide, count, rank) in enumerate(smalls):
        shape = {"kind": "box", "size": [length, wide, 10]}
        items.append({"name": f"s{k}", "shape": shape, "count": count, "storage": "loose", "access": rank})
    plan = laid(*items, height=height, lane_floor=lane_floor)
    assert_held(plan, items)

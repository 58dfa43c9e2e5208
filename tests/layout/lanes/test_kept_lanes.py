"""Lanes of a printed layout: what is printed stays when things come, go or change in number."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.lanes.test_job_lanes import ROLLS, TOWELS, lane_plan, lists, only, thing
from tests.printing.progress.planned_manifest import manifest_of
from worker.layout.lanes.kept_lanes import homes_of, printed_panels
from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.spec import load

NUTS = {"name": "nuts", "shape": {"kind": "box", "size": [20, 20, 10]}, "count": 5}


def job(items, *, previous=None, width=800, depth=500, height=120, floor="none", panels=()):
    drawer = {"name": "low", "width": width, "depth": depth, "height": height, "floor": floor, "panels": list(panels)}
    spec = {"spec": "1", "name": "lanes", "coupon": False, "printer": {"bed": [256, 256, 256]}}
    made = load({**spec, "drawers": [{**drawer, "items": list(items)}]})
    return made if previous is None else made.model_copy(update={"previous": previous})


def changed(items, manifest, **fields):
    """Return the plan document of a drawer with other things, laid out against what is printed."""
    return plan_document(lay_out(job(items, previous=manifest, **fields)))


def totals(changes):
    return [sum(entry.count for entry in entries) for entries in (changes.new, changes.moved, changes.retired)]


@pytest.mark.parametrize(
    ("floor", "before", "after"),
    [
        ("none", [TOWELS, ROLLS], [TOWELS]),
        ("none", [TOWELS, ROLLS], []),
        ("none", [TOWELS, ROLLS], [{**TOWELS, "count": 2}, {**ROLLS, "count": 1}]),
        ("none", [TOWELS, ROLLS], [TOWELS, ROLLS, thing("small", 60, 60, 30)]),
        ("tiles", [TOWELS, ROLLS], [ROLLS]),
        ("tiles", [ROLLS, NUTS], [ROLLS, thing("small", 40, 40, 30), NUTS]),
        ("tiles", [ROLLS, NUTS], [NUTS]),
    ],
)
def test_panels_and_floor_stay_when_things_come_and_go(floor, before, after):
    _, manifest = manifest_of(job(before, floor=floor))
    homes = homes_of(manifest.drawers[0])
    plan = changed(after, manifest, floor=floor)
    assert totals(plan.changes) == [0, 0, 0]
    assert plan.unplaced == ()
    assert {content.item for content in plan.drawers[0].contents} == {item["name"] for item in after}
    for name, lane in homes_of(plan.drawers[0]).items():
        assert homes.get(name, lane) == lane


def test_lanes_are_divided_anew_only_for_what_has_no_room_in_them():
    box = thing("box", 200, 100, 60, count=2)
    _, manifest = manifest_of(job([TOWELS, ROLLS, box]))
    plan = changed([TOWELS, box, thing("thin", 400, 30, 20)], manifest)
    assert plan.unplaced == ()
    assert sum(totals(plan.changes)) > 0


def test_nothing_loses_its_lane_to_more_of_another_thing():
    _, manifest = manifest_of(job([TOWELS, ROLLS]))
    plan = changed([TOWELS, {**ROLLS, "count": 14}], manifest)
    assert [lack.item for lack in plan.unplaced] == ["rolls"]
    assert totals(plan.changes) == [0, 0, 0]


def test_what_fits_in_no_other_way_moves_nothing():
    _, manifest = manifest_of(job([TOWELS, ROLLS]))
    plan = changed([TOWELS, ROLLS, thing("giant", 900, 200, 60)], manifest)
    assert [lack.item for lack in plan.unplaced] == ["giant"]
    assert totals(plan.changes) == [0, 0, 0]


def test_a_drawer_measured_anew_is_divided_anew():
    _, manifest = manifest_of(job([TOWELS, ROLLS]))
    plan = changed([TOWELS, ROLLS], manifest, depth=520)
    assert sum(totals(plan.changes)) > 0
    assert plan.unplaced == ()


def test_things_stay_where_they_lay_between_panels_of_the_list():
    panels = [{"along": "x", "at": 250, "height": 80}, {"along": "y", "at": 400, "height": 80}]
    flat = thing("flat", 100, 60, 20)
    _, manifest = manifest_of(job([{**TOWELS, "count": 2}, flat], panels=panels))
    homes = homes_of(manifest.drawers[0])
    large = thing("large", 330, 210, 40)  # without what lay there before it would take one of their rooms
    plan = changed([{**TOWELS, "count": 2}, flat, large], manifest, panels=panels)
    assert {name: homes_of(plan.drawers[0])[name] for name in homes} == homes
    assert totals(plan.changes) == [0, 0, 0]


@settings(deadline=None, max_examples=12)
@given(lists(), st.data())
def test_panels_read_from_a_layout_give_the_same_panels(drawn, data):
    items, fields = drawn
    plan = lane_plan(*items, **fields)
    _, manifest = manifest_of(job(items, **fields))
    assert [panel.name for panel in only(plan).panels] == [
        panel.name for panel in printed_panels(manifest.drawers[0], (0.5, 0.5))
    ]
    lying = {content.item for content in manifest.drawers[0].contents}
    staying = [item for item in items if item["name"] in lying and data.draw(st.booleans())]
    again = changed(staying, manifest, **fields)
    assert totals(again.changes) == [0, 0, 0]
    assert again.unplaced == ()
    (drawer,) = again.drawers
    for content in drawer.contents:
        lane = drawer.lanes[content.lane]
        for axis in (0, 1):
            assert lane.at[axis] <= content.at[axis]
            assert content.at[axis] + content.size[axis] <= lane.at[axis] + lane.size[axis]

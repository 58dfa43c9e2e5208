"""Jointed trays for items: only what the bed kept out gets one, and all that lies in it is clear of posts and walls."""

import manifold3d
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.solids import build
from worker.spec import load

WHISK = {"name": "whisk", "shape": {"kind": "box", "size": [240, 30, 25]}, "count": 2}
LADLE = {"name": "ladle", "shape": {"kind": "box", "size": [270, 45, 30]}}
TONGS = {"name": "tongs", "shape": {"kind": "box", "size": [225, 28, 22]}}


def spec_of(*items, width=430, depth=300, bed=(180, 180, 180), **fields):
    drawer = {"name": "top", "width": width, "depth": depth, "height": 80, "items": list(items)}
    job = {"spec": "1", "name": "k", "drawers": [drawer], "printer": {"bed": list(bed)}, "coupon": False}
    return {**job, **fields}


def plan_of(*items, **fields):
    return lay_out(load(spec_of(*items, **fields)))


def assert_clear(plan):
    """Nothing that is stored touches a post, or, unless a stop divides what is filed, any piece of a jointed tray."""
    (drawer,) = plan.drawers
    for tray in drawer.jointed:
        shapes = {index: plan.part(drawer.placements[index].mark).shape for index in tray.pieces}
        at = drawer.placements[tray.pieces[0]].at
        posts = [
            manifold3d.CrossSection([post.outline]).extrude(post.top).translate(at)
            for post in shapes[tray.pieces[0]].tray.posts
        ]
        assert posts
        pieces = [build(shape).manifold().translate(drawer.placements[index].at) for index, shape in shapes.items()]
        for content in drawer.contents:
            if content.placement == tray.pieces[0]:
                box = manifold3d.Manifold.cube(content.size).translate(content.at).translate((0.0, 0.0, 0.02))
                others = posts if content.storage == "upright" else [*posts, *pieces]
                assert all((box ^ solid).volume() < 1e-3 for solid in others)


def test_what_the_bed_kept_out_gets_a_tray_in_pieces():
    plan = plan_of(WHISK)
    assert not plan.unplaced
    (tray,) = plan.drawers[0].jointed
    assert len(tray.pieces) == 2
    (content,) = plan.drawers[0].contents
    assert (content.item, content.count, content.placement) == ("whisk", 2, tray.pieces[0])
    assert_clear(plan)


def test_like_things_share_one():
    plan = plan_of(WHISK, LADLE, TONGS)
    assert not plan.unplaced
    (tray,) = plan.drawers[0].jointed
    assert {content.placement for content in plan.drawers[0].contents} == {tray.pieces[0]}
    assert_clear(plan)


def test_a_tray_that_the_bed_takes_is_never_cut():
    small = {"name": "clips", "shape": {"kind": "box", "size": [30, 20, 15]}, "count": 6}
    many = {"name": "jars", "shape": {"kind": "cylinder", "diameter": 38, "length": 50}, "count": 9}
    plan = plan_of(small, many)
    assert not plan.unplaced
    assert not plan.drawers[0].jointed
    (drawer,) = plan_of(small, WHISK).drawers
    held = {content.item: content.placement for content in drawer.contents}
    assert held["whisk"] in {tray.pieces[0] for tray in drawer.jointed}


def test_a_large_thing_gets_a_tray_of_two_by_two():
    plan = plan_of({"name": "atlas", "shape": {"kind": "box", "size": [260, 230, 24]}}, width=430, depth=430)
    assert not plan.unplaced
    (tray,) = plan.drawers[0].jointed
    assert (len(tray.pieces), [seam.axis for seam in tray.seams]) == (4, ["x", "y"])
    assert_clear(plan)


def test_without_joints_it_is_reported():
    (lack,) = plan_of(WHISK, joints=False).unplaced
    assert (lack.item, lack.cause) == ("whisk", "bed")


def test_without_free_floor_it_stays_out():
    (lack,) = plan_of(WHISK, width=250, depth=130).unplaced
    assert lack.item == "whisk"


def test_the_same_spec_gives_the_same_plan():
    assert plan_of(WHISK, TONGS) == plan_of(WHISK, TONGS)


def test_one_of_an_earlier_plan_stays_where_it_is():
    before = plan_document(plan_of(WHISK, LADLE))
    after = spec_of(WHISK, {**LADLE, "count": 2}, TONGS, previous=before.model_dump(mode="json"))
    now = plan_document(lay_out(load(after)))
    cells = [{tray.name: tray.cell for tray in plan.drawers[0].jointed} for plan in (before, now)]
    assert not now.unplaced
    assert set(cells[0].values()) <= set(cells[1].values())


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.lists(
        st.tuples(st.integers(150, 340), st.integers(8, 110), st.integers(5, 40), st.integers(1, 4), st.booleans()),
        min_size=1, max_size=3,
    ),
    st.booleans(),
    st.sampled_from([(180, 180, 180), (250, 160, 200)]),
)  # fmt: skip
def test_things_in_jointed_trays_touch_nothing(things, half_cells, bed):
    items = [
        {
            "name": f"thing {number}", "shape": {"kind": "box", "size": [long, wide, high]}, "count": count,
            "label": label,
        }
        for number, (long, wide, high, count, label) in enumerate(things)
    ]  # fmt: skip
    plan = plan_of(*items, width=460, depth=420, grid={"half_cells": half_cells}, bed=bed)
    for item in items:
        stored = sum(content.count for content in plan.drawers[0].contents if content.item == item["name"])
        assert stored + sum(lack.count for lack in plan.unplaced if lack.item == item["name"]) == item["count"]
    assert_clear(plan)


@pytest.mark.parametrize("label", ["whisks", None])
def test_a_label_keeps_nothing_out(label):
    plan = plan_of(WHISK | ({"label": label} if label else {}))
    assert not plan.unplaced

"""Drawers in layers: what finds no floor lies below or above other trays, where that suits what is used often."""

from functools import reduce
from operator import or_

import manifold3d
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.layout.relayout.printed_manifest import again, first
from tests.layout.storage.things import ground, thing
from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_stock import fill_drawer
from worker.layout.items.filling.stacked_trays import rank_of
from worker.layout.placement.bay import Bay
from worker.layout.placement.layers.upper_trays import LEAST_BALANCE
from worker.layout.planner import lay_out
from worker.layout.tray.grip_lips import finger_room
from worker.output.checks.assembly_checks import check_assembly
from worker.solids import build
from worker.spec import load


def item(name, size, count, access, **fields):
    return {"name": name, "shape": {"kind": "box", "size": size}, "count": count, "access": access, **fields}


OFTEN = (item("knives", [150, 24, 12], 4, "often"), item("spoons", [150, 40, 20], 4, "often"))
RARELY = (item("icing tips", [40, 40, 35], 4, "rarely"), item("cake forks", [110, 22, 10], 8, "rarely"))


def spec_of(*items, height=120):
    drawer = {"name": "left", "width": 176, "depth": 176, "height": height, "items": list(items)}
    return {"spec": "1", "name": "kitchen", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}, "coupon": False}


def laid(*items, height=120):
    return lay_out(load(spec_of(*items, height=height)))


def names_in(plan, placement):
    return {stored.item for stored in plan.drawers[0].contents if stored.placement == placement}


def test_what_is_used_rarely_lies_below_what_is_used_often():
    assert laid(*OFTEN, *RARELY, height=60).unplaced
    plan = laid(*OFTEN, *RARELY)
    assert plan.unplaced == ()
    rarely = {entry["name"] for entry in RARELY}
    assert plan.drawers[0].upper
    for tray in plan.drawers[0].upper:
        below = set().union(*(names_in(plan, index) for index in tray.on))
        assert below
        assert below <= rarely
        assert tray.balance is None or tray.balance >= LEAST_BALANCE
    meshes = {part.mark: build(part.shape) for part in plan.parts}
    assert [check for check in check_assembly(plan, meshes) if not check.passed] == []


def test_what_is_used_often_never_lies_below():
    often = [{**entry, "access": "often"} for entry in RARELY]
    plan = laid(*OFTEN, *often)
    assert plan.unplaced
    assert plan.drawers[0].upper == ()


def test_what_is_used_often_lies_below_if_its_spec_says_so():
    def laid_with(**fields):
        board, spare = item("board", [150, 140, 20], 1, "often"), item("spare", [140, 100, 20], 1, "often", **fields)
        return lay_out(load({**spec_of(board, spare), "grid": {"half_cells": True}}))

    (lack,) = laid_with().unplaced
    assert lack.item == "spare"
    assert lack.remedy == "Set `stack` to true: it has room below a tray that is lifted out."
    allowed = laid_with(stack=True)
    assert allowed.unplaced == ()
    (upper,) = allowed.drawers[0].upper
    assert [names_in(allowed, index) for index in upper.on] == [{"spare"}]


def test_a_printed_layout_in_layers_stays():
    before = first(spec_of(*OFTEN, *RARELY))
    assert before.drawers[0].upper
    plan = again(spec_of(*OFTEN, *RARELY), before)
    assert [tray.z for tray in plan.drawers[0].upper] == [tray.z for tray in before.drawers[0].upper]
    assert not plan.changes.moved
    assert not plan.changes.new


_sizes = st.tuples(st.sampled_from([40, 70, 110, 150]), st.sampled_from([20, 40, 60]), st.sampled_from([10, 20, 30]))
_things = st.lists(
    st.tuples(_sizes, st.integers(1, 6), st.sampled_from(["often", "sometimes", "rarely"])), min_size=3, max_size=6
)


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_things, st.sampled_from([70.0, 100.0, 140.0]))
def test_layers_hold_each_thing_once_below_the_drawers_height(forms, height):
    items = [
        thing({"kind": "box", "size": size}, f"k{k}", count=count, access=access)
        for k, (size, count, access) in enumerate(forms)
    ]
    site = Site("top", ground(span=(8, 8), height=height, half_cells=False), Bay.open(8, 8, step=2), height=height)
    stock = fill_drawer(site, items, moves=1)
    placed = dict.fromkeys(range(len(items)), 0)
    for column, _ in stock.trays:
        for index, count in column.counts:
            placed[index] += count
    assert all(placed[index] <= entry.count for index, entry in enumerate(items))
    for tray in stock.upper:
        assert tray.z + tray.column.top <= site.limit + 1e-6
        covered = site.bay.under(*tray.column.halves, tray.at)
        for column, at in stock.standing:
            if site.bay.under(*column.halves, at) & covered:
                assert column.rim == "stacking" or column.top <= tray.z
                assert stock.assortment.ground.floor_top + max(lane.stack for _, lane in column.lanes) <= tray.z
                assert rank_of(stock.assortment, column) >= rank_of(stock.assortment, tray.column)
    cells = [site.bay.under(*column.halves, at) for column, at in stock.standing]
    assert sum(bits.bit_count() for bits in cells) == reduce(or_, cells, 0).bit_count()


@pytest.mark.parametrize("height", [120, 140])
def test_trays_that_are_lifted_out_have_grips_with_room_for_fingers(height):
    plan = laid(*OFTEN, *RARELY, height=height)
    (upper,) = plan.drawers[0].upper
    mark = plan.drawers[0].placements[upper.placement].mark
    part = plan.part(mark)
    assert part.tray.grip
    shape = part.shape
    outer = part.size[:2]
    fingers = [finger_room(grip, outer, shape.wall) for grip in shape.grips]
    assert len(fingers) == 2
    solid = build(shape).manifold()
    for low, high in fingers:
        # a finger of 15 mm by 15 mm below the lip and in front of it is free in the mesh as printed (common practice)
        size = [b - a for a, b in zip(low, high, strict=True)]
        assert max(size[:2]) >= 46.0  # two index fingers
        below = manifold3d.Manifold.cube((size[0] - 0.2, size[1] - 0.2, 4.0)).translate(
            (low[0] + 0.1, low[1] + 0.1, low[2])
        )
        assert (solid ^ below).volume() < 1e-3
        corner = plan.drawers[0].placements[upper.placement].at
        for stored in plan.drawers[0].contents:
            if stored.placement == upper.placement:
                at = [a - b for a, b in zip(stored.at, corner, strict=True)]
                assert any(
                    at[axis] >= high[axis] - 1e-6 or low[axis] >= at[axis] + stored.size[axis] - 1e-6
                    for axis in range(3)
                )


def test_a_tray_without_room_for_fingers_has_no_grips():
    plan = laid(*OFTEN, *RARELY, height=100)
    assert plan.drawers[0].upper
    for upper in plan.drawers[0].upper:
        assert not plan.part(plan.drawers[0].placements[upper.placement].mark).tray.grip


@pytest.mark.parametrize("height", range(100, 181, 10))
def test_lower_trays_of_one_height_hold_what_is_in_them_below_the_tray_above(height):
    plan = laid(*OFTEN, *RARELY, height=height)
    meshes = {part.mark: build(part.shape) for part in plan.parts}
    assert [check for check in check_assembly(plan, meshes) if not check.passed] == []
    drawer = plan.drawers[0]
    for tray in drawer.upper:
        tops = [entry.at[2] + entry.size[2] for entry in drawer.contents if entry.placement in tray.on]
        assert tops
        assert all(top <= tray.z for top in tops)

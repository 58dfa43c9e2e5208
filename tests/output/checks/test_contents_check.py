"""The check `contents` fails where things reach into a tray over them or above their drawer, and passes elsewhere."""

from dataclasses import replace
from functools import cache

import pytest

from worker.layout.planner import lay_out
from worker.output.checks.assembly_checks import check_assembly
from worker.output.checks.contents_check import check_contents
from worker.solids import build
from worker.spec import load


@cache
def layered_drawer():
    """Return a drawer with cones and lids below and spoons above, laid out by the service, and its parts' meshes."""
    items = [
        {"name": "spoons", "shape": {"kind": "box", "size": [150, 40, 20]}, "count": 4, "access": "often"},
        {"name": "knives", "shape": {"kind": "box", "size": [150, 24, 12]}, "count": 4, "access": "often"},
        {"name": "cones", "shape": {"kind": "box", "size": [40, 40, 35]}, "count": 4, "access": "rarely"},
        {"name": "lids", "shape": {"kind": "box", "size": [110, 22, 10]}, "count": 8, "access": "rarely"},
    ]
    drawer = {"name": "left", "width": 176, "depth": 176, "height": 120, "items": items}
    spec = {"spec": "1", "name": "k", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}, "coupon": False}
    plan = lay_out(load(spec))
    return plan, {part.mark: build(part.shape) for part in plan.parts}


def taller(item, by):
    """Return the layered job with things of an item higher by so many mm."""
    plan, meshes = layered_drawer()
    (drawer,) = plan.drawers
    contents = tuple(
        replace(entry, size=(*entry.size[:2], entry.size[2] + by)) if entry.item == item else entry
        for entry in drawer.contents
    )
    return replace(plan, drawers=(replace(drawer, contents=contents),)), meshes


def room_over(item):
    """Return the height in mm that is free over things, up to the tray above or the drawer's height."""
    (drawer,) = layered_drawer()[0].drawers
    (entry,) = (entry for entry in drawer.contents if entry.item == item)
    over = [tray.z for tray in drawer.upper if entry.placement in tray.on]
    return min([120.0, *over]) - entry.at[2] - entry.size[2]


def failures(item, by):
    return {check.name for check in check_assembly(*taller(item, by)) if not check.passed}


def test_the_drawer_has_a_tray_over_others():
    (drawer,) = layered_drawer()[0].drawers
    below = {entry.item for tray in drawer.upper for entry in drawer.contents if entry.placement in tray.on}
    assert below == {"cones", "lids"}


@pytest.mark.parametrize("item", ["lids", "spoons"])
def test_things_may_reach_up_to_what_is_over_them(item):
    assert failures(item, room_over(item) - 0.01) == set()
    assert failures(item, room_over(item) + 0.01) == {"contents"}


def test_the_check_names_the_things_that_reach_too_high_and_by_how_much():
    plan, meshes = taller("lids", room_over("lids") + 2.5)
    (check,) = check_contents(plan.drawers[0], meshes)
    assert check.subject == "left: lids"
    assert check.value == pytest.approx(2.5)


def test_things_beside_a_tray_on_others_are_not_below_it():
    plan, meshes = taller("lids", room_over("lids") + 2.5)
    (drawer,) = plan.drawers
    aside = tuple(
        replace(entry, at=(entry.at[0] + 500.0, *entry.at[1:])) if entry.item == "lids" else entry
        for entry in drawer.contents
    )
    (check,) = check_contents(replace(drawer, contents=aside), meshes)
    assert check.passed


def test_a_drawer_without_things_has_no_such_check():
    plan, meshes = layered_drawer()
    assert list(check_contents(replace(plan.drawers[0], contents=()), meshes)) == []

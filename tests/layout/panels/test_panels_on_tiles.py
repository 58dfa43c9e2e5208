"""Panels on a floor of tiles: what they stand on, their feet in its sockets, and the trays beside them."""

from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st
from shapely.geometry import box

from tests.layout.panels.jobs import floor_plan, panel_plan, panel_spec
from worker.layout.panels.foot import foot_levels
from worker.output.checks.assembly_checks import check_assembly
from worker.solids import build
from worker.spec import load
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.errors import PanelError, SpecError, TrayError

ACROSS = {"along": "x", "at": 150, "height": 60}
DEEP = {"along": "y", "at": 125, "height": 60}
WIDE_BED = (500, 500, 200)


def only(plan):
    (drawer,) = plan.drawers
    return drawer


def boxes(plan, indices):
    """Return the rectangles that parts cover in the drawer, from their sizes and turns."""
    drawer, sizes = only(plan), {part.mark: part.size for part in plan.parts}
    for place in (drawer.placements[index] for index in indices):
        wide, deep, high = sizes[place.mark]
        deep = high if place.upright else deep
        wide, deep = (deep, wide) if place.turn % 180 else (wide, deep)
        yield box(place.at[0], place.at[1], place.at[0] + wide, place.at[1] + deep)


def trays_of(plan):
    return [index for index, place in enumerate(only(plan).placements) if place.cell is not None]


def test_a_panel_stands_on_the_tiles_and_reaches_the_height_that_is_given():
    bare, tiled = (only(plan(ACROSS, bed=WIDE_BED)).panels[0] for plan in (panel_plan, floor_plan))
    # the built-in profile is 1.0 + 0.6 + 1.4 mm high
    assert (bare.z, bare.height, bare.top) == (0.0, 60.0, 60.0)
    assert (tiled.z, tiled.height, tiled.top) == (3.0, 57.0, 60.0)
    assert (bare.feet, len(tiled.feet)) == ((), 3)


def test_it_has_no_feet_where_none_are_wanted_or_where_its_line_is_a_border_of_cells():
    drawer = only(floor_plan({**ACROSS, "feet": False}, bed=WIDE_BED))
    assert drawer.panels[0].feet == ()
    edge = drawer.lattice.origin[1] + 3 * 42.0 + 0.5
    plan = floor_plan({**ACROSS, "at": edge}, bed=WIDE_BED)
    assert only(plan).panels[0].feet == ()
    assert any("has no feet" in warning.message for warning in plan.warnings)


def test_feet_alone_hold_a_panel_that_ends_in_the_middle_of_the_drawer():
    free = {**ACROSS, "start": 100, "end": 330}
    plan = floor_plan(free, bed=WIDE_BED)
    (panel,) = only(plan).panels
    assert (panel.shoes, len(panel.feet)) == ((), 2)
    # handbook: 1.24 g/cm3 of PLA; it tips about the edge of a foot, at most half a socket of 42 - 2 x 1.5 mm away
    mass = 230.0 * 57.0 * panel.thickness * 1.24e-6
    assert 0.0 < panel.tipping <= mass * 9.81 * 19.5 / 57.0
    assert any("tips over" in warning.message for warning in plan.warnings)
    with pytest.raises(PanelError):
        panel_plan(free, bed=WIDE_BED)


def test_what_the_lowest_panel_needs_is_counted_from_the_tiles():
    with pytest.raises(PanelError) as caught:
        floor_plan({**ACROSS, "height": 26})
    assert (caught.value.pointer, caught.value.limit) == ("/drawers/0/panels/0/height", "28 to 68 mm")


_PANELS = st.lists(
    st.one_of(
        st.fixed_dictionaries({"along": st.just("x"), "at": st.integers(30, 270), "height": st.integers(35, 68)}),
        st.fixed_dictionaries({"along": st.just("y"), "at": st.integers(30, 390), "height": st.integers(35, 68)}),
    ),
    min_size=1,
    max_size=3,
)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(_PANELS, st.sampled_from([38.0, 42.0, 50.0]), st.booleans())
def test_every_foot_is_inside_one_socket_and_no_tray_is_under_a_panel(panels, pitch, half_cells):
    grid = {"pitch": pitch, "half_cells": half_cells}
    tray = {"name": "any", "cells": [1, 1], "height": 30, "quantity": 4}
    try:
        plan = floor_plan(*panels, grid=grid, trays=[tray], bed=(256, 256, 256))
    except (PanelError, TrayError):
        reject()
    drawer = only(plan)
    (x0, y0), half = drawer.lattice.origin, pitch / 2.0
    cells = [
        box(x0 + c.x * half, y0 + c.y * half, x0 + (c.x + c.width) * half, y0 + (c.y + c.depth) * half)
        for c in drawer.lattice.cells
    ]
    trays = list(boxes(plan, trays_of(plan)))
    assert len(trays) == 4
    for panel, own in zip(drawer.panels, panels, strict=True):
        assert panel.top == own["height"]
        band = box(panel.start, panel.at - panel.thickness / 2, panel.end, panel.at + panel.thickness / 2)
        if panel.along == "y":
            band = box(panel.at - panel.thickness / 2, panel.start, panel.at + panel.thickness / 2, panel.end)
        feet = list(boxes(plan, panel.feet))
        for foot in feet:
            # 1.2 mm of land at the default lines and clearance, and 0.3 mm of clearance
            assert any(cell.buffer(-1.49, join_style="mitre").covers(foot) for cell in cells)
            assert foot.buffer(-2.0).intersects(band)
        fittings = [*feet, *boxes(plan, panel.clips)]
        assert all(fitting.disjoint(tray) for fitting in (*fittings, band) for tray in trays)
        # the hub of a shoe is as wide as its cheeks, its wings reach 3.4 mm from the side at most
        for shoe in boxes(plan, panel.shoes):
            hub = shoe & band.buffer(2.0, cap_style="square")
            assert all(hub.disjoint(tray) for tray in trays)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.15, 0.6), st.floats(0.3, 0.8))
def test_a_foot_keeps_the_clearance_at_every_height(clearance, line):
    joint = Joint(default_profile(clearance, line), clearance, line)
    levels = foot_levels(joint)
    assert levels[-1][1] == pytest.approx(joint.height - 0.2)

    def inset(profile, z):
        return next(
            a + (b - a) * (z - low) / (high - low) for (a, low), (b, high) in pairwise(profile) if low <= z <= high
        )

    # straight parts of the profile keep the clearance across; nothing comes nearer at its 45-degree seat
    for z in (0.5, 0.9, 1.7, joint.height - 0.3):
        apart = inset(levels, z) - inset(joint.profile, z)
        assert apart >= clearance - 1e-3
    assert inset(levels, joint.height - 0.3) - inset(joint.profile, joint.height - 0.3) == pytest.approx(
        clearance, abs=2e-3
    )


def test_a_tray_with_a_place_under_a_panel_is_refused():
    tray = {"name": "pens", "cells": [2, 2], "height": 30, "at": [2, 2]}
    with pytest.raises(TrayError, match="where a panel or a lane is") as caught:
        floor_plan(ACROSS, trays=[tray])
    assert caught.value.pointer == "/drawers/0/trays/0/at"
    assert caught.value.remedy


# things in lanes on the floor

PIN = {"name": "pin", "shape": {"kind": "cylinder", "diameter": 45, "length": 380}, "storage": "lane"}
CLIPS = {"name": "clips", "shape": {"kind": "box", "size": [30, 20, 10]}, "count": 30}


@pytest.mark.parametrize("panels", [(), (ACROSS,)])
def test_things_in_lanes_lie_on_tiles_and_trays_stand_beside_them(panels):
    plan = floor_plan(*panels, items=[PIN, CLIPS], lane_floor="tiles")
    drawer = only(plan)
    assert plan.unplaced == ()
    (pin,) = (stored for stored in drawer.contents if stored.item == "pin")
    assert pin.at[2] == 3.0
    lane = drawer.lanes[pin.lane]
    area = box(*lane.at, lane.at[0] + lane.size[0], lane.at[1] + lane.size[1])
    assert area.covers(box(pin.at[0], pin.at[1], pin.at[0] + pin.size[0], pin.at[1] + pin.size[1]))
    assert all(area.disjoint(tray) for tray in boxes(plan, trays_of(plan)))
    assert trays_of(plan)
    # the floor is the one of a drawer without lanes, tile for tile
    plain = only(floor_plan(items=[CLIPS]))
    floors = [
        sorted(place.at for place in own.placements if place.cell is None and place.name is None)
        for own in (drawer, plain)
    ]
    assert floors[0] == floors[1]
    assert drawer.lattice == plain.lattice


def test_lanes_lie_on_the_bare_bottom_unless_tiles_are_asked_for():
    plan = floor_plan(items=[PIN, CLIPS])
    (pin,) = (stored for stored in only(plan).contents if stored.item == "pin")
    assert pin.at[2] == 0.0


def test_things_in_tiled_lanes_have_the_height_of_the_tiles_less():
    low = {**PIN, "shape": {"kind": "box", "size": [200, 100, 67]}}
    assert floor_plan(items=[low]).unplaced == ()
    (lack,) = floor_plan(items=[low], lane_floor="tiles").unplaced
    assert "65 mm" in lack.reason


def test_a_drawer_without_a_floor_has_no_tiled_lanes():
    spec = panel_spec().model_dump(mode="json", exclude_none=True)
    spec["drawers"][0]["lane_floor"] = "tiles"
    with pytest.raises(SpecError) as caught:
        load(spec)
    assert caught.value.pointer == "/drawers/0/lane_floor"


@pytest.mark.parametrize("depth", range(190, 300, 6))
def test_each_strip_of_a_panel_rests_on_tiles_or_in_clips(depth):
    """The panel runs over the middle of its sockets, and the bed takes strips of two cells."""
    panel = {"name": "row", "along": "y", "at": 105, "height": 60}
    plan = floor_plan(panel, width=215, depth=depth, height=80, bed=(110, 110, 110))
    assert len(only(plan).panels[0].pieces) > 1
    meshes = {part.mark: build(part.shape) for part in plan.parts}
    assert [check for check in check_assembly(plan, meshes) if not check.passed] == []

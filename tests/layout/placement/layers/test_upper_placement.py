"""Where trays stand that are put on other trays, on panels, or at a height."""

import manifold3d
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.panels.jobs import panel_plan
from tests.layout.placement.test_tray_placement import drawer, lattice
from worker.layout.placement.layers.panel_seats import PanelTop, SeatMaker
from worker.layout.placement.layers.upper_placement import place_upper_trays
from worker.layout.placement.tray_placement import place_trays
from worker.layout.planner import lay_out
from worker.layout.tray.made_tray import TrayMaker
from worker.solids import build
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.drawer.tray import Tray
from worker.spec.errors import SpecError, TrayError
from worker.spec.reading.loader import load

JOINT = Joint(default_profile(0.25, 0.44), 0.25, 0.44)
LOWER = {"cells": [2, 2], "height": 40, "at": [0, 0]}
BESIDE = {"cells": [1, 2], "height": 40, "at": [2, 0]}
#: How deep a foot stands in a rim: the joint's 3 mm and what it settles, 0.25 mm times sqrt(2).
DEPTH = 3.0 + 0.25 * 2.0**0.5


def stood(*trays, grid=None, height=90):
    sample = drawer(*trays).model_copy(update={"height": height})
    grid = grid or lattice(6, 6)
    placed = place_trays(sample, grid, pointer="/drawers/0")
    return place_upper_trays(sample, grid, JOINT, placed, pointer="/drawers/0")


def refused(*trays, **options):
    with pytest.raises(TrayError) as caught:
        stood(*trays, **options)
    return caught.value


def test_a_tray_stands_in_the_rims_of_two():
    *lower, upper = stood(LOWER, BESIDE, {"cells": [3, 2], "height": 30, "on": ["tray 0", "tray 1"]})
    assert [place.z for place in lower] == [0.0, 0.0]
    assert upper.at == (0, 0)
    assert upper.z == pytest.approx(40.0 - DEPTH, abs=0.005)


def test_trays_stand_on_trays_that_stand_on_others_whatever_their_order():
    top, middle, _ = stood(
        {"cells": [2, 1], "height": 20, "on": "tray 1", "rim": "straight"},
        {"cells": [2, 2], "height": 30, "on": "tray 2"},
        LOWER,
    )
    assert middle.z == pytest.approx(40.0 - DEPTH, abs=0.005)
    assert top.z == pytest.approx(70.0 - 2.0 * DEPTH, abs=0.01)


def test_a_wall_under_the_middle_of_a_cell_asks_for_half_feet():
    narrow = {**BESIDE, "at": [1.5, 0], "cells": [1.5, 2]}
    grid = lattice(6, 6)
    on_halves = stood({**LOWER, "cells": [1.5, 2]}, narrow, {"cells": [3, 2], "height": 30, "on": "tray 0"}, grid=grid)
    assert [place.half_feet for place in on_halves] == [True, True, True]
    assert not stood(LOWER, {"cells": [2, 2], "height": 30, "on": "tray 0"})[1].half_feet


UPPER = {"cells": [3, 2], "height": 30, "on": ["tray 0", "tray 1"]}


@pytest.mark.parametrize(
    ("trays", "field", "words"),
    [
        ((LOWER, {**BESIDE, "height": 41}, UPPER), "on", "not equally high"),
        ((LOWER, {**BESIDE, "rim": "straight"}, UPPER), "on", "no sockets"),
        ((LOWER, {**BESIDE, "at": [4, 0]}, {**UPPER, "at": [0, 0]}), "on", "does not lie over"),
        ((LOWER, {**BESIDE, "height": 38}, {**UPPER, "on": "tray 0"}), "on", "runs into"),
        ((LOWER, BESIDE, {**UPPER, "height": 54}), "height", "higher than drawer"),
        ((LOWER, BESIDE, {**UPPER, "at": [4, 0]}), "at", "beyond the usable area"),
        ((LOWER, {**UPPER, "cells": [5, 2], "on": "tray 0"}), "on", "would tip"),
    ],
)
def test_what_cannot_stand_is_refused(trays, field, words):
    error = refused(*trays)
    assert error.pointer == f"/drawers/0/trays/{len(trays) - 1}/{field}"
    assert words in error.message
    assert error.limit
    assert error.remedy


def test_lower_trays_and_free_cells_are_bridged():
    low = {"cells": [1, 1], "height": 36, "at": [2, 0], "rim": "straight"}
    bridge = {"cells": [4, 2], "height": 30, "on": ["tray 0", "tray 1"]}
    *_, upper = stood(LOWER, {**BESIDE, "at": [3, 0]}, low, bridge)
    assert upper.z == pytest.approx(40.0 - DEPTH, abs=0.005)
    assert "runs into" in refused(LOWER, {**BESIDE, "at": [3, 0]}, {**low, "height": 37}, bridge).message


@pytest.mark.parametrize(
    ("trays", "pointer"),
    [
        ([{"on": "tray 7"}], "/trays/0/on"),
        ([{}, {"on": ["tray 0", "tray 7"]}], "/trays/1/on/1"),
        ([{"on": "tray 0"}], "/trays/0/on"),
        ([{"on": "tray 1"}, {"on": "tray 0"}], "/trays/1/on"),
        ([{"quantity": 2}, {"on": "tray 0"}], "/trays/1/on"),
        ([{"name": "twin"}, {"name": "twin"}, {"on": "twin"}], "/trays/2/on"),
        ([{}, {"on": "tray 0", "z": 20}], "/trays/1/z"),
    ],
)
def test_a_name_below_another_tray_is_that_of_one_tray(trays, pointer):
    listed = [{"name": f"tray {index}", "cells": [1, 1], "height": 20, **tray} for index, tray in enumerate(trays)]
    body = {"name": "top", "width": 300, "depth": 300, "height": 90, "trays": listed}
    with pytest.raises(SpecError) as caught:
        load({"spec": "1", "name": "hall", "drawers": [body], "printer": {"bed": [256, 256, 256]}})
    assert caught.value.pointer == f"/drawers/0{pointer}"


def test_equal_trays_stand_side_by_side_on_one():
    _, *three = stood({**LOWER, "cells": [6, 2]}, {"cells": [2, 2], "height": 30, "on": "tray 0", "quantity": 3})
    assert [place.at for place in three] == [(0, 0), (4, 0), (8, 0)]
    assert [place.z for place in three] == [pytest.approx(40.0 - DEPTH, abs=0.005)] * 3
    error = refused({**LOWER, "cells": [6, 2]}, {"cells": [2, 2], "height": 30, "on": "tray 0", "quantity": 4})
    assert (error.pointer, error.value) == ("/drawers/0/trays/1/quantity", 4)
    assert "Only 3 of 4" in error.message


def test_each_of_several_stands_on_some_of_those_that_are_named():
    third = {**LOWER, "at": [4, 0]}
    names = ["tray 0", "tray 1"]
    *_, first, second = stood(LOWER, third, {"cells": [2, 2], "height": 30, "on": names, "quantity": 2})
    assert [first.at, second.at] == [(0, 0), (8, 0)]


def test_a_height_finds_what_carries_it():
    *_, upper = stood(LOWER, BESIDE, {"cells": [3, 2], "height": 30, "z": 36.5})
    assert upper.at == (0, 0)
    assert upper.z == pytest.approx(40.0 - DEPTH, abs=0.005)


def test_a_height_at_which_nothing_carries_a_tray_is_refused_with_those_at_which_something_does():
    error = refused(LOWER, BESIDE, {"cells": [3, 2], "height": 30, "z": 30, "at": [0, 0]})
    assert error.pointer == "/drawers/0/trays/2/z"
    assert f"{40.0 - DEPTH:.1f}" in error.limit
    assert "Nothing carries" in error.message
    assert refused(LOWER, {"cells": [3, 2], "height": 30, "z": 30}).pointer == "/drawers/0/trays/1/z"


def test_heights_are_settled_from_the_bottom_up_and_names_after_them():
    top, middle, _ = stood(
        {"cells": [2, 2], "height": 20, "on": "tray 1", "rim": "straight"},
        {"cells": [2, 2], "height": 30, "z": 36.6},
        LOWER,
    )
    assert middle.z == pytest.approx(40.0 - DEPTH, abs=0.005)
    assert top.z == pytest.approx(70.0 - 2.0 * DEPTH, abs=0.01)


PANELS = (
    {"name": "left", "along": "y", "at": 42.5, "height": 60},
    {"name": "right", "along": "y", "at": 168.5, "height": 60},
)
ON_PANELS = {"name": "upper", "cells": [3, 3], "height": 30, "rim": "straight", "on": ["left", "right"]}


def on_panels(*trays, panels=PANELS, **fields):
    return panel_plan(*panels, width=300, height=120, trays=list(trays), bed=(256, 256, 256), **fields)


def test_a_tray_stands_on_panels_between_its_feet():
    plan = on_panels(ON_PANELS)
    (upper,) = plan.drawers[0].upper
    assert (upper.on, upper.panels) == ((), (0, 1))
    assert plan.drawers[0].placements[upper.placement].cell == (1.0, 0.0)
    assert 56.0 < upper.z < 60.0
    assert plan.warnings == ()
    (by_height,) = on_panels({**ON_PANELS, "on": [], "z": round(upper.z)}).drawers[0].upper
    assert (by_height.z, by_height.panels) == (upper.z, upper.panels)


def test_a_tray_that_stands_flat_on_panels_is_not_kept_from_sliding():
    aside = [{**panel, "at": panel["at"] + shift} for panel, shift in zip(PANELS, (15, -15), strict=True)]
    plan = on_panels(ON_PANELS, panels=aside)
    assert [upper.z for upper in plan.drawers[0].upper] == [60.0]
    (warning,) = plan.warnings
    assert warning.pointer == "/drawers/0/trays/0"
    assert "friction" in warning.message


@pytest.mark.parametrize(
    ("trays", "panels", "field", "words"),
    [
        ([{**ON_PANELS, "on": "left", "at": [0, 0], "cells": [1, 1]}], PANELS, "on", "would tip"),
        ([ON_PANELS], ({**PANELS[0], "height": 55}, PANELS[1]), "on", "not equally high"),
        ([{**ON_PANELS, "on": "left"}], (PANELS[0], {**PANELS[1], "height": 90}), "on", "runs into panel 'right'"),
        ([{**ON_PANELS, "at": [5, 0]}], PANELS, "at", "beyond the usable area"),
        ([{**ON_PANELS, "at": [3, 0]}], PANELS, "on", "does not lie over panel 'left'"),
        ([{**ON_PANELS, "on": [], "z": 40}], PANELS, "z", "Nothing carries"),
        ([{**ON_PANELS, "height": 70}], PANELS, "height", "higher than drawer"),
    ],
)
def test_what_cannot_stand_on_panels_is_refused(trays, panels, field, words):
    with pytest.raises(TrayError) as caught:
        on_panels(*trays, panels=panels)
    assert caught.value.pointer == f"/drawers/0/trays/0/{field}"
    assert words in caught.value.message
    assert caught.value.limit
    assert caught.value.remedy


def with_lane(*trays, **item):
    pin = {"name": "pin", "shape": {"kind": "cylinder", "diameter": 55, "length": 380}, "storage": "lane", **item}
    drawer = {"name": "top", "width": 420, "depth": 300, "height": 120, "items": [pin], "trays": list(trays)}
    return lay_out(load({"spec": "1", "name": "k", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}}))


LOW = {"name": "low", "cells": [4, 2], "height": 63.422, "at": [0, 2]}
OVER = {"name": "over", "cells": [4, 3], "height": 30, "at": [0, 2], "z": 60.0, "rim": "straight"}


def test_a_tray_stands_on_a_tray_and_on_the_panel_of_a_lane_whose_things_it_covers():
    plan = with_lane(LOW, OVER)
    (drawer,) = plan.drawers
    (upper,) = drawer.upper
    assert len(upper.on) == 1
    assert upper.panels == (0,)
    assert drawer.panels[0].height == 60.0
    back = (drawer.placements[upper.placement].cell[1] + 3) * drawer.lattice.pitch + drawer.lattice.origin[1]
    assert back > drawer.panels[0].at  # over the lane
    assert drawer.free == 4 * drawer.whole - 4 * 4 * 2  # over the lane there are no cells


def test_a_tray_over_things_in_a_lane_is_clear_of_them():
    with pytest.raises(TrayError, match="runs into 'pin' in its lane"):
        with_lane({**LOW, "height": 53.422}, {**OVER, "z": 50.0, "cells": [4, 4]})


def test_without_a_floor_only_trays_on_panels_are_accepted():
    with pytest.raises(SpecError) as caught:
        on_panels({"name": "plain", "cells": [1, 1], "height": 20})
    assert caught.value.pointer == "/drawers/0/trays"


JOINTS = [Joint(default_profile(clearance, 0.44), clearance, 0.44) for clearance in (0.15, 0.3, 0.5)]

#: Middles of panels, mm: on lines between feet of 21 mm, beside them, or anywhere.
_middles = st.one_of(
    st.builds(lambda line, off: 21.0 * line + off, st.integers(0, 6), st.sampled_from([-0.08, 0.0, 0.05])),
    st.floats(-10.0, 140.0),
)


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(JOINTS),
    st.sampled_from([(4, 4), (2, 6), (3, 4)]),
    st.sampled_from([0, 1]),
    _middles,
    st.sampled_from([1.6, 2.0, 2.4, 2.8, 3.2, 4.0]),
)
def test_a_seat_on_a_panel_is_where_the_mesh_of_the_tray_touches_it(joint, halves, axis, middle, thick):
    """The oracle lowers the tray's solid onto a plain box: it neither overlaps it nor can it be lowered further."""
    box = [-50.0, middle - thick / 2.0, 200.0, middle + thick / 2.0]
    left, front, right, back = box = box if axis == 0 else [box[1], box[0], box[3], box[2]]
    seat = SeatMaker(lattice(8, 8), joint).seat(
        PanelTop("panel", axis, tuple(box), 60.0), (0, 0), halves, half_feet=False
    )
    half_feet = any(along % 2 for along in halves) or (seat is not None and seat.line is not None and seat.line % 2)
    tray = Tray(name="upper", cells=[along / 2.0 for along in halves], height=30, rim="straight")
    made = TrayMaker(joint=joint, pitch=42.0, line_width=0.44, beds=((250.0, 250.0),), bed="", joints=False)
    solid = build(made.made(tray, half_feet=bool(half_feet), pointer="").shape).manifold()
    low = solid.bounding_box()
    solid = solid.translate((joint.body_inset - low[0], joint.body_inset - low[1], -low[2]))
    strip = manifold3d.Manifold.cube((right - left, back - front, 60.0)).translate((left, front, 0.0))
    if seat is None:  # not below it, or between feet without room for a panel: none of them stands on it
        assert (strip ^ solid.translate((0.0, 0.0, 59.95))).volume() < 0.2
        return
    assert (strip ^ solid.translate((0.0, 0.0, seat.level + 0.002))).volume() < 1e-3
    assert (strip ^ solid.translate((0.0, 0.0, seat.level - 0.05))).volume() > 1e-3

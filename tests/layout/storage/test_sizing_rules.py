from dataclasses import replace
from math import hypot, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import ground
from worker.layout.planner import lay_out
from worker.layout.storage.sizing_rules import AIR, FRAME_AIR, DrawerLimits
from worker.layout.tray.interior import tray_room
from worker.printing.estimating.part_estimates import price_parts
from worker.solids import build
from worker.spec import load
from worker.spec.drawer.joint import CORNER_RADIUS
from worker.spec.drawer.tray import Tray

#: Grams of a mm3 of PLA: 1.24 g/cm3 (handbook value).
PLA = 1.24e-3

_many = settings(max_examples=60, deadline=None)
_rims = st.sampled_from(["straight", "stacking"])


def _spec(**printer):
    return load(
        {
            "spec": "1",
            "name": "bench left",
            "drawers": [{"name": "top", "width": 310, "depth": 425, "height": 70}],
            "printer": {"bed": [256, 256, 256], **printer},
        }
    )


def test_walls_and_floors_are_what_the_printer_can_lay():
    usual = DrawerLimits.of(_spec(), (14, 18), 70.0)
    assert (usual.wall, usual.floor, usual.step, usual.limit) == (1.2, 1.2, 2, 70.0 - FRAME_AIR)
    wide = DrawerLimits.of(_spec(nozzle=0.8, layer=0.6), (14, 18), 70.0)
    assert wide.wall == pytest.approx(2 * 0.88 + 0.2)
    assert wide.floor == 1.2
    assert DrawerLimits.of(_spec(nozzle=1.2, layer=0.8), (14, 18), 70.0).floor == 1.6


@_many
@given(st.floats(1.0, 500.0), _rims, st.booleans())
def test_half_cells_are_the_fewest_that_give_a_length(length, rim, half_cells):
    here = ground(half_cells=half_cells)
    halves = here.halves(length, rim)
    assert halves % here.step == 0
    assert here.usable(halves, rim) >= length - 1e-6
    assert halves == here.step or here.usable(halves - here.step, rim) < length


@_many
@given(st.integers(1, 12), st.integers(20, 90), _rims)
def test_the_usable_room_is_the_trays_room_less_its_rim(halves, height, rim):
    here = ground()
    tray = Tray(name="bits", cells=(halves / 2, 1), height=height, rim=rim)
    room = tray_room(tray, joint=here.joint, pitch=42.0, line_width=0.44, pointer="")
    assert here.usable(halves, rim) + 2 * here.rim_overhang(rim) == pytest.approx(room.inner[0], abs=1e-3)
    assert here.start("straight") == room.wall
    assert here.floor_top == room.floor_top
    assert here.rim_overhang("straight") == 0.0


@_many
@given(st.floats(0.0, 60.0), st.floats(0.0, 60.0), _rims)
def test_a_tray_is_as_high_as_its_walls_and_all_ends_under_the_frame(walls, stack, rim):
    here = ground(height=60.0)
    stand = here.stand(walls, stack, rim)
    if stand is None:
        assert here.floor_top + max(walls, stack) + here.joint.height + 0.5 > here.limit
        return
    height, top = stand
    room = tray_room(
        Tray(name="bits", cells=(2, 2), height=height, rim=rim),
        joint=here.joint, pitch=42.0, line_width=0.44, pointer="",
    )  # fmt: skip
    assert top <= here.limit + 1e-6
    assert room.ceiling - room.floor_top >= walls - 2e-3
    assert top >= max(height, here.floor_top + stack - 1e-3)
    if rim == "stacking":
        assert here.floor_top + stack <= room.ceiling + 2e-3


@_many
@given(st.floats(0.0, 10.0))
def test_the_margin_clears_a_round_corner_by_the_air(radius):
    here = ground()
    margin = here.margin(radius)
    round_ = CORNER_RADIUS - here.joint.body_inset - here.wall
    assert margin >= AIR
    if radius < round_:
        assert sqrt(2.0) * (round_ - margin - radius) + radius <= round_ - AIR


@_many
@given(st.floats(0.0, 6.0), st.floats(0.4, 1.2))
def test_a_corner_beside_an_end_clears_the_round_corner_by_the_air_and_no_further_away_than_that(end, wall):
    """Measured from the arc's middle; the chord of the drawn arc may lie inside of the arc by less than the air."""
    here = replace(ground(), wall=wall)
    round_ = CORNER_RADIUS - here.joint.body_inset - wall
    beside = here.beside(end)
    assert AIR <= beside <= max(AIR, round_)
    if max(end, beside) < round_:
        assert hypot(round_ - end, round_ - beside) <= round_ - AIR + 1e-9
        # a tenth of a millimetre nearer touches what must be kept clear
        nearer = beside - 0.1
        assert nearer < AIR or hypot(round_ - end, round_ - nearer) > round_ - 2.0 * AIR


@pytest.mark.parametrize("half_cells", [False, True])
def test_plastic_is_what_the_estimate_says_of_the_built_tray(half_cells):
    # the estimate slices the mesh into its sections (worker.printing), which the closed form knows nothing of
    sizes = [(1, 1, 20), (1, 3, 30), (2, 2, 40), (3, 3, 14), (2, 4, 25), (5, 3, 60), (6, 6, 30)]
    if half_cells:
        sizes = [(1.5, 2, 30), (2.5, 2.5, 14), (3.5, 5, 20)]
    trays = [
        {"name": f"{wide:g}-{deep:g}", "cells": [wide, deep], "height": high, "wall": 1.2, "floor": 1.2}
        for wide, deep, high in sizes
    ]
    drawer = {"name": "top", "width": 900, "depth": 900, "height": 70, "trays": trays}
    job = {"spec": "1", "name": "b", "drawers": [drawer], "grid": {"half_cells": half_cells}, "coupon": False}
    spec = load({**job, "printer": {"bed": [260, 260, 256]}})
    plan = lay_out(spec)
    parts = [part for part in plan.parts if part.kind == "tray"]
    estimates = price_parts(spec, plan, {part.mark: build(part.shape) for part in plan.parts})
    here = DrawerLimits.of(spec, (20, 20), 70.0)
    assert len(parts) == len(sizes)
    for part in parts:
        grams = here.plastic(part.shape.halves, part.size[2], "straight") * PLA
        assert grams == pytest.approx(estimates[part.mark].grams, rel=0.03)

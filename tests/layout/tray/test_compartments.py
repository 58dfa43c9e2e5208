"""Compartments against the built tray: what can go straight down in them touches nothing, and no more room is there."""

import manifold3d
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.tray.compartments import compartments
from worker.layout.tray.interior import tray_room
from worker.layout.tray.tray_builder import tray_shape
from worker.solids import build
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.drawer.tray import Tray

JOINT = Joint(default_profile(0.3, 0.44), 0.3, 0.44)
RULES = {"joint": JOINT, "pitch": 42.0, "line_width": 0.44, "pointer": "/trays/0"}


def bar(low, high, bottom, top):
    """Return a box between two corners, mm."""
    size = (high[0] - low[0], high[1] - low[1], top - bottom)
    return manifold3d.Manifold.cube(size).translate((*low, bottom))


@settings(max_examples=20, deadline=None)
@given(st.integers(2, 4), st.integers(2, 4), st.integers(1, 3), st.integers(1, 3), st.booleans())
def test_each_compartment_reaches_from_wall_to_wall_and_to_the_ledge_of_the_last_row(
    across, deep, columns, rows, ledge
):
    tray = Tray.model_validate(
        {"name": "t", "cells": (across, deep), "height": 45.0, "compartments": (columns, rows), "label_ledge": ledge,
         "rim": "straight", "finger_ramp": False}
    )  # fmt: skip
    shape = tray_shape(tray, half_feet=False, **RULES)
    solid = build(shape).manifold()
    rooms = compartments(
        tray_room(tray, **RULES), shape.walls, ramp=None, ledge=shape.ledge, overhang=0.0, settling=0.0
    )
    assert sorted(own.place for own in rooms) == [(x, y) for x in range(columns) for y in range(rows)]
    assert (shape.ledge is not None) == ledge
    ceiling, bottom = shape.height - 2.0, shape.fill_top + 0.1
    for own in rooms:
        (x, y), (wide, long) = own.at, own.size
        middle = (x + wide / 2.0, y + long / 2.0)
        # bars through the middle, clear of the round corners: along x, and along y
        for axis in (0, 1):
            low, high = [x, y], [x + wide, y + long]
            low[1 - axis], high[1 - axis] = middle[1 - axis] - 0.5, middle[1 - axis] + 0.5
            assert (bar(low, high, bottom, ceiling) ^ solid).volume() < 1e-3
            for end, by in ((low, -0.3), (high, 0.3)):
                further = list(end)
                further[axis] += by
                longer = bar(*((further, high) if by < 0.0 else (low, further)), bottom, shape.height)
                assert (longer ^ solid).volume() > 0.05
    free = sum(own.size[0] for own in rooms if own.place[1] == 0)
    taken = 2.0 * (JOINT.body_inset + shape.wall) + sum(wall.thickness for wall in shape.walls if wall.axis == "x")
    assert free == pytest.approx(42.0 * across - taken, abs=0.01)

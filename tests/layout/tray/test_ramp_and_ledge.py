"""Finger ramps: where a tray has them unasked, and where they run."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.layout.tray.test_tray_builder import refused, shape_of
from worker.layout.tray.dividers import spans
from worker.layout.tray.interior import tray_room
from worker.layout.tray.ramp_and_ledge import ramp_as_made
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.drawer.tray import Tray

JOINT = Joint(default_profile(0.3, 0.44), 0.3, 0.44)


@pytest.mark.parametrize(
    ("fields", "rows"),
    [
        # 1 x 1: 39 mm wide and 47.8 mm deep; a third of 3 cells is as narrow
        ({"cells": [1, 1]}, 1),
        ({"cells": [3, 2], "compartments": [4, 1]}, 1),
        # 2 x 2 of 2 cells: both rows are narrow, so the one behind the divider has one too
        ({"cells": [2, 2], "compartments": [2, 2]}, 2),
        # the front row is wide enough and the back one is not
        ({"cells": [2, 2], "dividers": [{"axis": "y", "at": 45}]}, 2),
        ({"cells": [2, 2]}, 0),
        # 33.5 mm from floor to ceiling are not deep
        ({"cells": [1, 1], "height": 43, "rim": "straight"}, 1),
        ({"cells": [1, 1], "height": 40, "rim": "straight"}, 0),
        # rows of 25 mm leave a finger no floor beside a ramp
        ({"cells": [2, 2], "compartments": [1, 3]}, 0),
        # a divider lower than the ramp would stand in it
        ({"cells": [2, 2], "dividers": [{"axis": "y", "at": 45, "height": 12}]}, 0),
        ({"cells": [1, 1], "finger_ramp": False}, 0),
        ({"cells": [1, 1], "pockets": [{"shape": "circle", "at": [20, 20], "diameter": 20, "depth": 10}]}, 0),
    ],
)
def test_narrow_deep_compartments_have_a_ramp_unless_the_spec_says_otherwise(fields, rows):
    ramp = shape_of(**fields).ramp
    assert (0 if ramp is None else 1 + len(ramp.inner)) == rows
    assert ramp is None or ramp.radius == 12.0


def test_a_ramp_that_was_asked_for_runs_along_the_front_or_along_every_row():
    fields = {"compartments": [2, 3], "height": 40, "rim": "straight"}
    assert shape_of(finger_ramp=True, **fields).ramp.inner == ()
    shape = shape_of(finger_ramp={"radius": 6, "rows": "all"}, **fields)
    tray = Tray.model_validate({"name": "bits", "cells": [3, 2], **fields})
    room = tray_room(tray, joint=JOINT, pitch=42.0, line_width=0.44, pointer="")
    assert [inner.at for inner in shape.ramp.inner] == [start for start, _ in spans(room, shape.walls, "y")[1:]]
    for inner in shape.ramp.inner:
        assert (inner.start, inner.end) == (shape.wall, pytest.approx(126.0 - 0.6 - shape.wall))


def test_a_ramp_behind_a_divider_is_as_long_as_the_divider():
    dividers = [{"axis": "x", "at": 60}, {"axis": "y", "at": 40, "span": [0, 60]}]
    (inner,) = shape_of(dividers=dividers, finger_ramp={"rows": "all"}).ramp.inner
    assert (inner.start, inner.end) == pytest.approx((1.2, 61.2))
    assert inner.at == pytest.approx(1.2 + 40.0 + 0.6)


def test_a_ramp_behind_a_divider_is_no_higher_than_it():
    dividers = [{"axis": "y", "at": 40, "height": 12}]
    pointer, value, limit = refused(dividers=dividers, finger_ramp={"radius": 11, "rows": "all"})
    assert (pointer, value, limit) == ("/finger_ramp/radius", 11.0, "2 to 10.8 mm")
    assert shape_of(dividers=dividers, finger_ramp={"radius": 11}).ramp.radius == 11.0
    assert shape_of(dividers=dividers, finger_ramp={"radius": 10.8, "rows": "all"}).ramp.radius == 10.8


@given(
    cells=st.tuples(st.integers(1, 3), st.integers(1, 3)),
    compartments=st.tuples(st.integers(1, 4), st.integers(1, 4)),
    height=st.integers(20, 90),
    rim=st.sampled_from(["stacking", "straight"]),
    ledge=st.booleans(),
)
def test_what_a_tray_is_recorded_with_makes_the_same_tray(cells, compartments, height, rim, ledge):
    fields = {"cells": cells, "compartments": compartments, "height": height, "rim": rim, "label_ledge": ledge}
    if ledge and (height < 40 or compartments[1] > 2 * cells[1]):
        return
    shape = shape_of(**fields)
    recorded = ramp_as_made(Tray.model_validate({"name": "bits", **fields}), shape.ramp)
    assert shape_of(**fields, finger_ramp=recorded.model_dump()) == shape

"""Grips: where the lips are by which a tray is lifted out, and their solid."""

from dataclasses import fields

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from worker.layout.tray.grip_lips import grip_outline
from worker.layout.tray.tray_builder import tray_shape, tray_size
from worker.output.checks.undersides import measure_undersides
from worker.solids import build
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError

JOINT = Joint(default_profile(0.25, 0.44), 0.25, 0.44)
#: Depth of a lip and thickness of its edge, mm.
DEPTH, EDGE = 8.0, 2.0
#: Breadth of two index fingers, men's 95th percentile at the proximal joint (anthropometric tables, from memory), mm.
TWO_FINGERS = 2 * 23.0


def shaped(**changes):
    tray = Tray.model_validate({"name": "bits", "cells": [3, 2], "height": 40, "rim": "straight", **changes})
    return tray_shape(tray, joint=JOINT, pitch=42.0, line_width=0.44, half_feet=False, pointer="/t")


def lips(shape):
    """Return the lips seen from above, as left, front, right, back."""
    rings = [grip_outline(grip, tray_size(shape)[:2], shape.wall) for grip in shape.grips]
    return [(ring[0][0], ring[0][1], ring[2][0], ring[2][1]) for ring in rings]


def vars_of(measured):
    return [getattr(measured, field.name) for field in fields(measured)]


def test_grip_lips_are_at_the_ends_of_the_longer_side_opposite_each_other():
    (left, front, right, back), other = lips(shaped(grip=True))
    wide = tray_size(shaped())[0]
    assert (left, right) == pytest.approx((1.2, 1.2 + DEPTH))
    assert other == pytest.approx((wide - right, front, wide - left, back))
    assert back - front == pytest.approx(60.0)
    assert [grip.axis for grip in shaped(cells=[2, 3], grip=True).grips] == ["y", "y"]
    assert shaped().grips == ()


@pytest.mark.parametrize("rim", ["straight", "stacking"])
def test_a_grip_adds_its_section_times_its_length(rim):
    # a right triangle below a rectangle: elementary geometry
    section = DEPTH * EDGE + DEPTH**2 / 2.0
    plain, with_grips = (build(shaped(rim=rim, grip=grip)) for grip in (False, True))
    assert with_grips.volume - plain.volume == pytest.approx(2 * 60.0 * section, rel=1e-4)
    assert [corner.tolist() for corner in with_grips.bounds] == [corner.tolist() for corner in plain.bounds]


def test_a_grip_prints_without_supports():
    figures = [
        [getattr(figure, "value", figure) for figure in vars_of(measure_undersides(build(shaped(grip=grip)), 0.44))]
        for grip in (False, True)
    ]
    assert figures[0] == figures[1]


_trays = st.fixed_dictionaries(
    {
        "cells": st.tuples(st.integers(2, 6), st.integers(2, 5)),
        "compartments": st.tuples(st.integers(1, 5), st.integers(1, 4)),
        "label_ledge": st.booleans(),
        "finger_ramp": st.booleans(),
    }
)


def gripped(tray):
    """Return a tray with grips; None where it has no room for them."""
    try:
        return shaped(grip=True, **tray)
    except TrayError:
        return None


@settings(max_examples=40, deadline=None)
@given(_trays)
def test_fingers_have_room_before_every_grip(tray):
    shape = gripped(tray)
    assume(shape is not None)
    wide, deep, _ = tray_size(shape)
    for left, front, right, back_end in lips(shape):
        along = back_end - front if shape.grips[0].axis == "x" else right - left
        assert TWO_FINGERS - 1e-6 <= along <= 60.0 + 1e-6
        if shape.grips[0].axis == "x":
            before = (right, right + 25.0) if left < wide / 2.0 else (left - 25.0, left)
            room = (before[0], front, before[1], back_end)
        else:
            before = (back_end, back_end + 25.0) if front < deep / 2.0 else (front - 25.0, front)
            room = (left, before[0], right, before[1])
        for wall in shape.walls:
            low, high = wall.at - wall.thickness / 2.0, wall.at + wall.thickness / 2.0
            near, far = (room[0], room[2]) if wall.axis == "x" else (room[1], room[3])
            assert high <= near + 1e-6 or low >= far - 1e-6
        if shape.ledge is not None:
            assert room[3] <= deep - shape.wall - shape.ledge.depth
        if shape.ramp is not None:
            assert room[1] >= shape.wall + shape.ramp.radius - 1e-6


@pytest.mark.parametrize(
    ("tray", "words"),
    [
        ({"height": 22}, "too low"),
        ({"cells": [1, 1]}, "no room"),
        ({"compartments": [1, 4], "cells": [3, 3]}, "no room"),
    ],
)
def test_a_tray_without_room_for_fingers_has_no_grips(tray, words):
    with pytest.raises(TrayError, match=words) as caught:
        shaped(grip=True, **tray)
    assert caught.value.pointer == "/t/grip"
    assert caught.value.limit

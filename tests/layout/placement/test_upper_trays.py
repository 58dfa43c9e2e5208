"""Trays on others: where they stand, and what carries them."""

import itertools

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from tests.layout.placement.test_tray_placement import drawer, lattice
from worker.layout.placement.tray_placement import place_trays
from worker.layout.placement.upper_trays import LayeredTray, carriers, ceilings, place_upper_trays, support
from worker.spec.drawer.joint import Joint, default_profile
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
        ((LOWER, {**BESIDE, "at": [4, 0]}, UPPER), "on", "does not lie over"),
        ((LOWER, {**BESIDE, "height": 38}, {**UPPER, "on": "tray 0"}), "on", "runs into"),
        ((LOWER, BESIDE, {**UPPER, "height": 54}), "height", "higher than drawer"),
        ((LOWER, BESIDE, {**UPPER, "at": [4, 0]}), "at", "beyond the grid"),
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


def test_what_is_bridged_reaches_up_to_the_feet_above():
    lower = LayeredTray((0, 0), (4, 4), 0.0, 40.0, "stacking")
    bridged = LayeredTray((4, 0), (2, 2), 0.0, 20.0, "straight")
    upper = LayeredTray((0, 0), (6, 4), 36.6, 30.0, "straight")
    assert list(ceilings([lower, bridged, upper], 90.0, 3.4)) == [90.0, 36.6, 53.4]


@pytest.mark.parametrize(
    ("trays", "pointer"),
    [
        ([{"on": "tray 7"}], "/trays/0/on"),
        ([{}, {"on": ["tray 0", "tray 7"]}], "/trays/1/on/1"),
        ([{"on": "tray 0"}], "/trays/0/on"),
        ([{"on": "tray 1"}, {"on": "tray 0"}], "/trays/1/on"),
        ([{"quantity": 2}, {"on": "tray 0"}], "/trays/1/on"),
        ([{"name": "twin"}, {"name": "twin"}, {"on": "twin"}], "/trays/2/on"),
        ([{}, {"on": "tray 0", "quantity": 2}], "/trays/1/quantity"),
    ],
)
def test_a_name_below_another_tray_is_that_of_one_tray(trays, pointer):
    listed = [{"name": f"tray {index}", "cells": [1, 1], "height": 20, **tray} for index, tray in enumerate(trays)]
    body = {"name": "top", "width": 300, "depth": 300, "height": 90, "trays": listed}
    with pytest.raises(SpecError) as caught:
        load({"spec": "1", "name": "hall", "drawers": [body], "printer": {"bed": [256, 256, 256]}})
    assert caught.value.pointer == f"/drawers/0{pointer}"


def least_load(upper, below):
    """Return the load at a corner that a rigid plate cannot carry, in masses of its own, by statics; inf: none.

    Forces that press upwards at points along the walls below balance the plate's weight and the load: the equations of
    equilibrium of a rigid body (any handbook of mechanics), as a linear programme.
    """
    (x, y), (wide, deep) = upper.at, upper.halves
    points = [
        (u, v)
        for tray in below
        for u, v in itertools.product(
            np.arange(tray.at[0], tray.at[0] + tray.halves[0] + 0.5, 0.5),
            np.arange(tray.at[1], tray.at[1] + tray.halves[1] + 0.5, 0.5),
        )
        if (u in {tray.at[0], tray.at[0] + tray.halves[0]} or v in {tray.at[1], tray.at[1] + tray.halves[1]})
        and x <= u <= x + wide
        and y <= v <= y + deep
    ]
    if not points:  # it hangs between the walls of one tray
        return None
    middle = np.array([1.0, x + wide / 2.0, y + deep / 2.0])
    loads = []
    for corner in itertools.product((x, x + wide), (y, y + deep)):
        at_corner = np.array([1.0, *corner])
        balance = np.column_stack([np.array([[1.0, *point] for point in points]).T, -at_corner])
        most = linprog(np.eye(len(points) + 1)[-1] * -1.0, A_eq=balance, b_eq=middle, bounds=(0.0, 1e4))
        if most.status:
            return None
        loads.append(np.inf if most.x[-1] > 999.0 else most.x[-1])
    return min(loads)


spots = st.tuples(st.integers(0, 8), st.integers(0, 8))
sides = st.tuples(st.integers(1, 6), st.integers(1, 6))


@settings(max_examples=60, deadline=None)
@given(sides, st.lists(st.tuples(spots, sides), min_size=1, max_size=3))
def test_the_load_that_tips_a_tray_is_that_of_statics(halves, lower):
    upper = LayeredTray((2, 2), halves, 30.0, 20.0, "straight")
    below = [LayeredTray(at, size, 0.0, 33.4, "stacking") for at, size in lower]
    below = [below[index] for index in carriers(upper, below, 3.4)]
    assume(below)
    stands, expected = support(upper, below), least_load(upper, below)
    if stands is None:
        assert expected is None or expected < 1e-6
    elif stands.balance is None:
        assert expected == np.inf
    else:
        assert stands.balance == pytest.approx(expected, rel=1e-6)

"""Trays on others: what carries them, and when they tip."""

import itertools

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from worker.layout.placement.layers.upper_trays import LayeredTray, carriers, ceilings, support


def test_what_is_bridged_reaches_up_to_the_feet_above():
    lower = LayeredTray((0, 0), (4, 4), 0.0, 40.0, "stacking")
    bridged = LayeredTray((4, 0), (2, 2), 0.0, 20.0, "straight")
    upper = LayeredTray((0, 0), (6, 4), 36.6, 30.0, "straight")
    assert list(ceilings([lower, bridged, upper], 90.0, 3.4)) == [90.0, 36.6, 53.4]


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

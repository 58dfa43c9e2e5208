"""Lengths and densities against the world."""

from fractions import Fraction

import pytest

from worker.spec import DENSITIES, parse_length

pytestmark = pytest.mark.outside


def test_an_inch_is_25_4_mm_and_a_foot_is_304_8():
    # international yard and pound agreement of 1959: 1 yd = 0.9144 m exactly, 1 ft = yd/3, 1 in = ft/12
    yard = Fraction(9144, 10)
    assert parse_length("1 in") == float(yard / 36) == 25.4
    assert parse_length("1 ft") == float(yard / 3) == 304.8
    assert parse_length("1/64 in") == float(yard / 36 / 64) == 0.396875


@pytest.mark.parametrize(("name", "least", "most"), [("PLA", 1.22, 1.26), ("PETG", 1.25, 1.29)])
def test_a_density_lies_in_its_published_range(name, least, most):
    # public materials reference page for additive manufacturing, g/cm3 (secondary source)
    assert least <= DENSITIES[name] <= most


@pytest.mark.parametrize(("name", "density"), [("ABS", 1.04), ("ASA", 1.07), ("TPU", 1.21)])
def test_a_density_is_the_typical_one(name, density):
    # typical data-sheet values, from memory
    assert DENSITIES[name] == density

"""Filament of a volume: its mass, its length on the spool, and its cost."""

from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.printing.estimating.filament import cost, length, mass


def test_a_spool_of_one_kilogram():
    """1 kg of PLA, 1.24 g/cm3, is 335 m of filament 1.75 mm thick: data sheets say 330 to 335 (from memory)."""
    volume = 1000.0 / 1.24 * 1000.0
    assert mass(volume, 1.24) == pytest.approx(1000.0)
    assert length(volume) == pytest.approx(335.3, abs=0.1)
    assert cost(1000.0, 25.0) == pytest.approx(25.0)
    assert cost(1000.0, None) is None


@given(st.floats(0.001, 500.0))
def test_a_length_of_filament_is_a_cylinder(metres):
    assert length(pi * 0.875**2 * metres * 1000.0) == pytest.approx(metres)

"""The layers that letters lie in: those whose middle lies within the height of the letters."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.printing.estimating.lettering_bands import _all_layers, _layers
from worker.printing.estimating.process import Process


@given(st.floats(0.5, 60.0), st.floats(0.1, 0.4), st.floats(0.1, 0.4), st.floats(0.0, 2.0))
def test_letters_lie_in_the_layers_whose_middles_they_reach(high, first_layer, layer, deep):
    process = Process(first_layer=first_layer, layer=layer)
    every = [(0.0, first_layer)]
    while every[-1][1] < high + 1.0:
        every.append((every[-1][1], every[-1][1] + layer))
    middles = [(low + top) / 2.0 for low, top in every]
    if any(abs(middle - bound) < 1e-6 for middle in middles for bound in (high, high - deep)):
        return
    inside = [ends for ends, middle in zip(every, middles, strict=True) if high - deep < middle < high]
    expected = (pytest.approx(inside[0][0]), pytest.approx(inside[-1][1])) if inside else None
    assert _layers(high - deep, high, process) == expected
    assert all(below[1] == pytest.approx(above[0]) for below, above in pairwise(_all_layers(high, process)))

"""Fingerprints of shapes."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from worker.layout.model.fingerprint import fingerprint
from worker.layout.model.shapes import KeyShape, Lettering, PlugShape, TileShape

RING = ((0.0, 0.0), (20.0, 0.0), (20.0, 10.0), (0.0, 10.0))
LEVELS = ((1.1, 0.0), (1.1, 3.0))


def test_what_has_its_default_is_left_out():
    # a field that a later version adds must not make every printed part look new
    tile = TileShape(RING, (), (), LEVELS, 5.0, 3.0)
    written = fingerprint(tile)
    assert written == fingerprint(replace(tile, letterings=()))
    assert written != fingerprint(replace(tile, letterings=(Lettering("F1", "top", (1.0, 1.0), 4.0),)))


def test_whole_numbers_and_minus_zero_are_no_difference():
    tile = TileShape(RING, (), (), LEVELS, 5.0, 3.0)
    ring = tuple((int(x), -0.0 if y == 0.0 else y) for x, y in RING)
    assert fingerprint(replace(tile, outline=ring, corner_radius=5)) == fingerprint(tile)


def test_kinds_differ_even_with_the_same_numbers():
    assert fingerprint(KeyShape(RING, 3.0)) != fingerprint(PlugShape(20.0, 0.25, LEVELS, 5.0, 3.0))


@given(st.floats(1.0, 100.0), st.floats(1.0, 100.0))
def test_other_numbers_are_another_fingerprint(first, other):
    same = fingerprint(KeyShape(RING, first)) == fingerprint(KeyShape(RING, other))
    assert same is (first == other)

"""Sums over a whole spec, each told with its limit."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.spec import load
from worker.spec.errors import SpecTooLarge
from worker.spec.limits import MOST_CELLS, cells_of, check_cells, check_size

_SQUARE = [[0, 0], [20, 0], [20, 20], [0, 20]]


def _spec(**drawer):
    return load(
        {
            "spec": "1",
            "name": "x",
            "drawers": [{"name": "top", "width": 420, "depth": 420, "height": 60, **drawer}],
            "printer": {"bed": [256, 256, 256]},
        }
    )


def _items(count, shape):
    return [{"name": f"i{n}", "shape": shape, "count": 1} for n in range(count)]


def _refused(spec, **options):
    with pytest.raises(SpecTooLarge) as caught:
        check_size(spec, **options)
    return caught.value


def test_a_common_drawer_passes():
    check_size(_spec())
    check_size(_spec(width=3000, depth=3000))


def test_a_long_list_of_items_needs_a_drawer_of_common_size():
    many = _items(100, {"kind": "box", "size": [20, 20, 10]})
    check_size(_spec(items=many))
    check_size(_spec(width=1200, depth=1200, items=many))
    error = _refused(_spec(width=3000, depth=3000, items=many))
    assert (error.pointer, error.value, error.limit) == ("/drawers/0/items", 100, "at most 19 items with 5184 cells")
    sample = {"name": "a", "width": 1200, "depth": 1200, "height": 60, "items": many}
    spec = load(
        {
            "spec": "1",
            "name": "x",
            "drawers": [{**sample, "name": f"d{n}"} for n in range(5)],
            "printer": {"bed": [256, 256, 256]},
        }
    )
    assert _refused(spec).limit == "items times cells: at most 400000 in total"


def test_a_large_drawer_is_not_filled():
    check_size(_spec(fill=True))
    error = _refused(_spec(width=3000, depth=3000, fill=True))
    assert (error.pointer, error.limit) == ("/drawers/0/fill", "at most 1000 cells")


def test_a_large_drawer_has_fewer_obstacles():
    few = [{"at": [50 + 60 * n, 50], "size": [20, 20]} for n in range(9)]
    check_size(_spec(width=3000, depth=3000, obstacles=few))
    check_size(_spec(obstacles=[{"at": [5 + 8 * n, 50], "size": [5, 5]} for n in range(50)]))
    error = _refused(_spec(width=3000, depth=3000, obstacles=[*few, {"at": [9, 900], "size": [9, 9]}]))
    assert (error.pointer, error.value) == ("/drawers/0/obstacles", 10)
    assert error.limit == "at most 9 obstacles with 5184 cells"


def test_a_large_drawer_has_fewer_corners():
    def ring(radius):
        turns = (2 * math.pi * n / 250 for n in range(250))
        return [[radius * (1 + math.cos(turn)), radius * (1 + math.sin(turn))] for turn in turns]

    check_size(_spec(width=None, depth=None, outline=ring(600)))
    error = _refused(_spec(width=None, depth=None, outline=ring(1490)))
    assert (error.pointer, error.value) == ("/drawers/0/outline", 250)


def test_cells_are_summed_over_drawers_and_copies_and_the_limit_is_named():
    spec = _spec(width=3000, depth=3000, copies=5)
    assert cells_of(spec.drawers[0], 42.0) == 72 * 72
    error = _refused(spec)
    assert (error.pointer, error.value, error.limit) == ("/drawers/0", 5 * 72 * 72, f"at most {MOST_CELLS} cells")
    assert error.remedy
    check_size(spec, 5 * 72 * 72)


@given(st.integers(100, 3000), st.integers(100, 3000), st.integers(24, 120))
def test_cells_are_never_fewer_than_there_is_room_for(width, depth, pitch):
    spec = _spec(width=width, depth=depth)
    cells = cells_of(spec.drawers[0], pitch)
    assert cells >= width * depth / pitch**2
    check_cells(spec, cells_of(spec.drawers[0], 42.0))


@pytest.mark.parametrize(
    ("drawer", "what"),
    [
        ({"copies": 21, "trays": [{"name": "t", "cells": [1, 1], "height": 30, "quantity": 200}]}, "4000 trays"),
        ({"items": _items(260, {"kind": "polygon", "points": _SQUARE, "height": 5})}, None),
    ],
)
def test_other_sums_are_bounded(drawer, what):
    spec = _spec(**drawer)
    if what is None:
        check_size(spec)
    else:
        assert _refused(spec).limit == f"at most {what}"


def test_items_of_all_drawers_are_counted():
    box = {"kind": "box", "size": [20, 20, 10]}
    drawer = {"width": 420, "depth": 420, "height": 60, "items": _items(300, box)}
    spec = load(
        {
            "spec": "1",
            "name": "x",
            "drawers": [{"name": f"d{n}", **drawer} for n in range(4)],
            "printer": {"bed": [256, 256, 256]},
        }
    )
    assert _refused(spec).limit == "at most 1000 items"


def test_the_cells_of_all_drawers_that_are_filled_are_bounded():
    sample = {"width": 1300, "depth": 1320, "height": 60, "fill": True}
    spec = {"spec": "1", "name": "x", "printer": {"bed": [256, 256, 256]}}
    check_size(load({**spec, "drawers": [{**sample, "name": f"d{n}"} for n in range(9)]}))
    error = _refused(load({**spec, "drawers": [{**sample, "name": f"d{n}"} for n in range(11)]}))
    assert (error.pointer, error.limit) == ("/drawers/10/fill", "at most 10000 cells in total")

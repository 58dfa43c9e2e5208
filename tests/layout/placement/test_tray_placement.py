import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from worker.layout.model.plan import Cell, Lattice
from worker.layout.placement.tray_placement import place_trays, tray_halves
from worker.spec.drawer.drawer import Drawer
from worker.spec.errors import TrayError


def lattice(across, back, *, right_half=False, back_half=False, without=()):
    cells = [Cell(2 * x, 2 * y, 2, 2) for y in range(back) for x in range(across) if (x, y) not in without]
    if right_half:
        cells += [Cell(2 * across, 2 * y, 1, 2) for y in range(back)]
    if back_half:
        cells += [Cell(2 * x, 2 * back, 2, 1) for x in range(across)]
    if right_half and back_half:
        cells.append(Cell(2 * across, 2 * back, 1, 1))
    return Lattice((0.0, 0.0), 42.0, tuple(cells))


def drawer(*trays):
    listed = [{"name": f"tray {index}", "cells": [1, 1], "height": 40, **tray} for index, tray in enumerate(trays)]
    return Drawer.model_validate({"name": "left top", "width": 600, "depth": 600, "height": 60, "trays": listed})


def refused(grid, *trays):
    with pytest.raises(TrayError) as caught:
        place_trays(drawer(*trays), grid, pointer="/drawers/0")
    return caught.value


def attempt(grid, sample):
    try:
        return place_trays(sample, grid, pointer="/drawers/0"), None
    except TrayError as error:
        return None, error


def squares(sample, placed):
    width, depth = tray_halves(sample.trays[placed.tray])
    x, y = placed.at
    return {(i, j) for i in range(x, x + width) for j in range(y, y + depth)}


sizes = st.sampled_from([0.5, 1, 1, 1.5, 2, 2, 3])
loose = st.lists(st.fixed_dictionaries({"cells": st.tuples(sizes, sizes), "quantity": st.integers(1, 3)}), max_size=6)


@settings(max_examples=60, deadline=None)
@given(loose, st.integers(1, 6), st.integers(1, 6), st.booleans(), st.booleans())
def test_packed_trays_stand_on_cells_and_never_on_each_other(trays, across, back, right_half, back_half):
    grid = lattice(across, back, right_half=right_half, back_half=back_half)
    sample = drawer(*trays)
    placed, error = attempt(grid, sample)
    if placed is None:
        assert error.pointer.startswith("/drawers/0/trays/")
        assert "no room" in error.message
        return
    there = {
        (i, j) for c in grid.cells for i in range(c.x, c.x + c.width) for j in range(c.y, c.y + c.depth)
    }  # fmt: skip
    whole = {square for square in there if square[0] < 2 * across and square[1] < 2 * back}
    taken = set()
    for each in placed:
        under = squares(sample, each)
        assert under <= there
        assert not under & taken
        taken |= under
        size = tray_halves(sample.trays[each.tray])
        on_whole = under <= whole and not any(along % 2 for along in (*each.at, *size))
        assert each.half_feet == (not on_whole)
    assert [p.tray for p in placed] == [i for i, t in enumerate(sample.trays) for _ in range(t.quantity)]
    assert place_trays(sample, grid, pointer="/drawers/0") == placed


# many a choice of trays has no place beside the fixed one
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(loose, st.integers(2, 5), st.integers(2, 5), st.tuples(st.integers(0, 4), st.integers(0, 4)))
def test_a_fixed_tray_keeps_its_place(trays, across, back, at):
    assume(at[0] < across and at[1] < back)
    grid = lattice(across, back)
    sample = drawer({"at": at}, *trays)
    placed, error = attempt(grid, sample)
    assume(error is None)
    assert placed[0].at == (2 * at[0], 2 * at[1])
    fixed = squares(sample, placed[0])
    assert all(not fixed & squares(sample, other) for other in placed[1:])


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 6), st.integers(1, 6), st.data())
def test_an_exact_cover_by_equal_trays_is_found(across, back, data):
    width = data.draw(st.sampled_from([n for n in range(1, across + 1) if across % n == 0]))
    depth = data.draw(st.sampled_from([n for n in range(1, back + 1) if back % n == 0]))
    count = across // width * (back // depth)
    sample = drawer({"cells": [width, depth], "quantity": count})
    placed = place_trays(sample, lattice(across, back), pointer="/drawers/0")
    assert len(placed) == count
    assert not any(each.half_feet for each in placed)
    error = refused(lattice(across, back), {"cells": [width, depth], "quantity": count + 1})
    assert error.pointer == "/drawers/0/trays/0"
    assert f"{count + 1} of {count + 1}" in error.message


def test_the_largest_goes_first_from_the_front_left():
    sample = drawer({"cells": [1, 1]}, {"cells": [2, 2]}, {"cells": [2, 1]})
    placed = place_trays(sample, lattice(3, 3), pointer="/drawers/0")
    assert [each.at for each in placed] == [(4, 0), (0, 0), (0, 4)]


def test_a_half_tray_takes_half_cells_before_it_breaks_a_whole_one():
    sample = drawer({"cells": [0.5, 1]}, {"cells": [2, 2]})
    placed = place_trays(sample, lattice(2, 2, right_half=True), pointer="/drawers/0")
    assert [(each.at, each.half_feet) for each in placed] == [((4, 0), True), ((0, 0), False)]


def test_two_half_trays_share_one_whole_socket():
    sample = drawer({"cells": [0.5, 1], "quantity": 2})
    placed = place_trays(sample, lattice(1, 1), pointer="/drawers/0")
    assert [each.at for each in placed] == [(0, 0), (1, 0)]


def test_a_whole_tray_stands_at_a_half_cell_only_where_nothing_else_is_free():
    sample = drawer({"cells": [0.5, 1], "at": [0, 0]}, {"cells": [1, 1]})
    placed = place_trays(sample, lattice(1, 1, right_half=True), pointer="/drawers/0")
    assert [(each.at, each.half_feet) for each in placed] == [((0, 0), True), ((1, 0), True)]
    roomy = place_trays(sample, lattice(2, 1, right_half=True), pointer="/drawers/0")
    assert [(each.at, each.half_feet) for each in roomy] == [((0, 0), True), ((2, 0), False)]


def test_a_tray_at_a_half_stands_on_half_feet():
    placed = place_trays(drawer({"at": [0.5, 0]}), lattice(2, 1), pointer="/drawers/0")
    assert placed[0].at == (1, 0)
    assert placed[0].half_feet


def test_a_tray_taller_than_the_drawer_is_refused():
    error = refused(lattice(2, 2), {"height": 60}, {"height": 60.5})
    assert (error.pointer, error.value, error.limit) == ("/drawers/0/trays/1/height", 60.5, "at most 60 mm")
    assert "tray 1" in error.message


def test_a_tray_off_the_grid_is_refused():
    error = refused(lattice(3, 2), {"cells": [2, 1], "at": [2, 0]})
    assert error.pointer == "/drawers/0/trays/0/at/0"
    assert error.value == 2.0
    assert error.limit == "at most 1, for 2 of 3 cells"
    error = refused(lattice(3, 2), {"cells": [1, 3], "at": [0, 0]})
    assert error.pointer == "/drawers/0/trays/0/at/1"
    assert error.limit == "a tray of at most 2 cells"


def test_a_tray_over_a_missing_cell_is_refused():
    error = refused(lattice(3, 2, without={(1, 1)}), {"cells": [2, 2], "at": [0, 0]})
    assert error.pointer == "/drawers/0/trays/0/at"
    assert "none at 1, 1" in error.limit


def test_a_tray_on_another_is_refused_and_both_are_named():
    error = refused(lattice(3, 3), {"cells": [2, 2], "at": [0, 0]}, {"cells": [1, 2], "at": [1, 1]})
    assert error.pointer == "/drawers/0/trays/1/at"
    assert "tray 1" in error.message
    assert "tray 0" in error.message
    assert "trays/0" in error.limit


def test_a_tray_without_room_is_refused_with_a_remedy():
    error = refused(lattice(2, 2), {"cells": [2, 1], "at": [0, 0]}, {"cells": [1, 2]})
    assert error.pointer == "/drawers/0/trays/1"
    assert error.value == [1.0, 2.0]
    assert error.limit == "2 cells for all trays without a place"
    assert "at" in error.remedy


def test_no_trays_need_no_room():
    assert place_trays(drawer(), lattice(1, 1), pointer="/drawers/0") == ()

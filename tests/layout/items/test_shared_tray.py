from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.storage.test_tray_sizes import boxes, inside, shape_of, spans_of
from tests.layout.storage.things import ground, grounds, shapes, standard, thing
from worker.layout.items.shared_tray import share
from worker.layout.storage.in_rows import FINGER_BREADTH
from worker.layout.storage.tray_option import Bulk
from worker.layout.storage.tray_sizes import options
from worker.layout.storage.upright import LEAST_GRIP, UPRIGHT_SUPPORT

_modest = settings(max_examples=50, deadline=None)
_KINDS = (
    standard("nut-m4", count=50, group="m4", name="nuts"),
    standard("bolt-cap-m4", length=16, count=50, group="m4", name="bolts"),
    standard("washer-m4", count=100, group="m4", name="washers"),
    standard("bit-6.3", count=10, group="m4", name="bits", storage="rows"),
)


@st.composite
def kinds(draw):
    return [
        thing(
            shape,
            name,
            count=draw(st.integers(1, 80)),
            group="m4",
            storage=draw(st.sampled_from([None, "rows", "loose", "upright"])),
            label=draw(st.sampled_from([False, False, True])),
            stack=draw(st.booleans()),
        )
        for shape, name in zip(draw(st.lists(shapes, min_size=2, max_size=4)), "abcd", strict=False)
    ]


@_modest
@given(kinds(), grounds())
def test_each_kind_has_a_compartment_of_its_own(items, ground):
    for option in share(items, ground):
        shape = shape_of(option, ground)
        assert option.items == tuple(item.name for item in items)
        columns, rows = (spans_of(shape, axis, option.halves[index]) for index, axis in enumerate(("x", "y")))
        for low, high in boxes(option):
            assert inside(low[0], high[0], columns)
            assert inside(low[1], high[1], rows)
            assert high[2] <= option.top + 2e-3
        owner = {}
        for item, content in zip(items, option.content, strict=True):
            assert content.item == item.name
            assert content.count == item.count <= content.capacity
            for cell in cells(content, columns, rows):
                # no two kinds in one compartment
                assert owner.setdefault(cell, item.name) == item.name
        assert set(owner.values()) == {item.name for item in items}


def cells(option, columns, rows):
    """The compartments that things of one kind lie in: column and row of each."""
    acrosses, backs = ((at,) for at in option.at[:2]) if isinstance(option, Bulk) else (option.acrosses, option.backs)
    return [
        tuple(next(k for k, (start, end) in enumerate(spans) if start <= at <= end) for at, spans in pairs)
        for x in acrosses
        for y in backs
        for pairs in (((x, columns), (y, rows)),)
    ]


@_modest
@given(kinds(), grounds())
def test_fingers_have_room_in_each_compartment(items, ground):
    for option in share(items, ground):
        shape = shape_of(option, ground)
        columns, rows = (spans_of(shape, axis, option.halves[index]) for index, axis in enumerate(("x", "y")))
        for content, storage in zip(option.content, option.storages, strict=True):
            for column, row in cells(content, columns, rows):
                sides = [end - start for start, end in (columns[column], rows[row])]
                if storage == "upright":
                    # held by the walls, and high enough over them to be taken
                    walls = shape.height - shape.floor_top
                    assert walls >= UPRIGHT_SUPPORT * content.pose.size[2]
                    assert shape.floor_top + content.pose.size[2] - shape.height >= LEAST_GRIP - 1.0
                else:
                    assert max(sides) >= FINGER_BREADTH - 0.01


@_modest
@given(kinds(), grounds())
def test_shared_trays_are_the_same_each_time_and_none_beats_another(items, ground):
    options = share(items, ground)
    assert options == share(list(items), ground)
    for first, other in combinations(options, 2):
        same = first.rim == other.rim and first.halves == other.halves
        assert not (same and first.top <= other.top and first.plastic <= other.plastic)


def test_small_kinds_take_less_room_and_plastic_together():
    best = share(_KINDS, ground())[0]
    alone = [options(item, ground())[0] for item in _KINDS]
    assert best.area < sum(option.area for option in alone)
    assert min(option.plastic for option in share(_KINDS, ground())) < sum(option.plastic for option in alone)


def test_loose_kinds_have_one_ramp_and_rows_none():
    assert any(option.ramp for option in share(_KINDS[:3], ground()))
    assert not any(option.ramp for option in share(_KINDS, ground()))


def test_a_label_names_the_group():
    labelled = [item.model_copy(update={"label": True}) for item in _KINDS]
    options = share(labelled, ground())
    assert {option.label for option in options} == {"m4"}
    assert all(option.tray().text.text == "m4" for option in options)


def test_nine_small_kinds_share_four_cells():
    small = [standard("nut-m4", name=f"nuts {k}", count=3) for k in range(9)]
    whole = ground(half_cells=False)
    assert sum(options(item, whole)[0].area for item in small) == 36
    assert share(small, whole)[0].halves == (4, 4)
    assert len(share(small, whole)[0].tray().dividers) == 4


@pytest.mark.parametrize("count", [2, 3, 7])
def test_a_compartment_of_several_rows_has_dividers_of_its_own(count):
    rods = thing({"kind": "cylinder", "diameter": 12, "length": 100}, "rods", count=12 * count, storage="rows")
    options = share([rods, standard("nut-m4", name="nuts", count=3)], ground(half_cells=False))
    assert options
    assert all(sum(content.count for content in option.content) == 12 * count + 3 for option in options)

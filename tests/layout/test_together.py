from itertools import combinations

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.layout.test_sizing import boxes, inside, shape_of, spans_of
from tests.layout.things import ground, grounds, shapes, standard, thing
from worker.layout.option import Bulk
from worker.layout.sizing import options
from worker.layout.together import MOST_TOGETHER, gangs, share

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
            storage=draw(st.sampled_from([None, "rows", "loose"])),
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
        assert len(shape.walls) == len(items) - 1
        columns, rows = (spans_of(shape, axis, option.halves[index]) for index, axis in enumerate(("x", "y")))
        for low, high in boxes(option):
            assert inside(low[0], high[0], columns)
            assert inside(low[1], high[1], rows)
            assert high[2] <= option.top + 2e-3
        axis = 0 if len(columns) > 1 else 1
        where = []
        for item, one in zip(items, option.content, strict=True):
            assert one.item == item.name
            assert one.count == item.count <= one.capacity
            at = one.at[axis] if isinstance(one, Bulk) else (one.acrosses, one.backs)[axis][0]
            where.append(next(k for k, (start, end) in enumerate((columns, rows)[axis]) if start <= at <= end))
        assert where == list(range(len(items)))


@_modest
@given(kinds(), grounds())
def test_shared_trays_are_the_same_each_time_and_none_beats_another(items, ground):
    found = share(items, ground)
    assert found == share(list(items), ground)
    for one, other in combinations(found, 2):
        same = one.rim == other.rim and one.halves == other.halves
        assert not (same and one.top <= other.top and one.plastic <= other.plastic)


def test_small_kinds_take_less_room_and_plastic_together():
    best = share(_KINDS, ground())[0]
    alone = [options(item, ground())[0] for item in _KINDS]
    assert best.area < sum(one.area for one in alone)
    assert min(one.plastic for one in share(_KINDS, ground())) < sum(one.plastic for one in alone)


def test_loose_kinds_have_one_ramp_and_rows_none():
    assert any(option.ramp for option in share(_KINDS[:3], ground()))
    assert not any(option.ramp for option in share(_KINDS, ground()))


def test_a_label_names_the_group():
    labelled = [item.model_copy(update={"label": True}) for item in _KINDS]
    found = share(labelled, ground())
    assert {option.label for option in found} == {"m4"}
    assert all(option.tray().text.text == "m4" for option in found)


def test_small_kinds_of_a_group_go_together_and_others_stay_alone():
    large = thing({"kind": "box", "size": [200, 120, 30]}, "level", group="m4")
    pinned = standard("nut-m3", count=50, group="m4", name="pinned", at=[0, 0])
    single = standard("nut-m3", count=50, group="m3", name="single")
    apart = standard("nut-m3", count=50, name="apart")
    assert gangs([*_KINDS, large, pinned, single, apart], ground()) == (_KINDS,)


@given(st.integers(0, 30))
@settings(max_examples=31, deadline=None)
def test_gangs_are_even_and_not_too_large(count):
    items = [standard("nut-m4", count=20, group="m4", name=f"n{k}") for k in range(count)]
    assume(count != 1)
    found = gangs(items, ground())
    assert [item for gang in found for item in gang] == items
    sizes = [len(gang) for gang in found]
    assert all(2 <= size <= MOST_TOGETHER for size in sizes)
    assert not sizes or max(sizes) - min(sizes) <= 1

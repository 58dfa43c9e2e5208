"""Even heights: fewer heights, the same things, and a finger still reaches them."""

from dataclasses import replace

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tests.layout.storage.test_lane import check_rooms, reached, shape_of
from tests.layout.storage.things import assortment, ground, shapes, thing
from worker.layout.items.filling.filled_tray import tray_option
from worker.layout.placement.bay import Bay
from worker.layout.placement.columns.column_pricing import ColumnPool
from worker.layout.placement.search.drawer_search import search_drawer
from worker.layout.placement.search.even_heights import LevelledTray, even_heights
from worker.layout.storage.sizing_rules import ledge_walls

#: Two that lie head to tail: the gap between their slanted sides is narrower than that between their boxes.
_HEAD_TO_TAIL = [
    ({"kind": "standard", "id": "battery-aaa"}, 1, "a"),
    ({"kind": "box", "size": (2.0, 2.0, 2.0)}, 1, "a"),
    ({"kind": "box", "size": (2.0, 45.0, 70.0)}, 1, "a"),
    ({"kind": "polygon", "points": [[0, 0], [60, 0], [60, 20], [20, 20], [20, 50], [0, 50]], "height": 2.0}, 1, "a"),
    ({"kind": "polygon", "points": [[5, 0], [45, 0], [50, 12], [25, 30], [0, 12]], "height": 2.0}, 2, "a"),
]

_forms = st.lists(st.tuples(shapes, st.integers(1, 12), st.sampled_from("abc")), min_size=2, max_size=7)


def layout(forms, *, alone=False):
    """A drawer of 6 x 6 cells with these things, two to four of a group; with ``alone`` each in a tray of its own."""
    kinds = [thing(form, f"k{k}", count=count, group=group) for k, (form, count, group) in enumerate(forms)]
    stock = assortment(kinds, ground(span=(12, 12), half_cells=False))
    stock = replace(stock, families=tuple((k,) for k in range(len(kinds)))) if alone else stock
    return stock, search_drawer(ColumnPool(stock), Bay.open(12, 12, step=2), moves=2, spare=0.1)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_forms)
@example(_HEAD_TO_TAIL)
def test_trays_have_fewer_heights_and_still_hold_their_things_within_reach(forms):
    stock, standing = layout(forms)
    even = even_heights(stock, standing)
    assert [(column.key, at) for column, at in even] == [(column.key, at) for column, at in standing]
    assert len({column.height for column, _ in even}) <= len({column.height for column, _ in standing})
    for column, _ in even:
        option = tray_option(stock, column)
        check_rooms(option, stock.ground)
        if option.recess is None:
            assert all(reached(content, shape_of(option, stock.ground), option) for content in option.content)


def test_low_trays_are_raised_to_the_height_of_others_where_that_is_cheap():
    boxes = [{"kind": "box", "size": [60, 40, high]} for high in (24, 26, 30)]
    forms = [(box, 1, group) for box, group in zip(boxes, "abc", strict=True)]
    stock, standing = layout(forms, alone=True)
    before, after = ({column.height for column, _ in trays} for trays in (standing, even_heights(stock, standing)))
    assert len(after) < len(before)


def test_the_same_trays_have_the_same_heights():
    forms = [({"kind": "box", "size": [60, 40, high]}, 2, group) for high, group in ((9, "a"), (20, "b"), (44, "c"))]
    stock, standing = layout(forms)
    assert even_heights(stock, standing) == even_heights(stock, standing)


def test_things_are_laid_anew_where_that_makes_their_tray_as_high_as_others():
    # without a gap a finger takes a low box only out of low walls; there is room for a gap in a tray of three cells
    low, high = {"kind": "box", "size": [84, 40, 12]}, {"kind": "box", "size": [84, 40, 26]}
    forms = [(low, 2, "a"), (high, 2, "b")]
    stock, standing = layout(forms, alone=True)
    heights = [{column.height for column, _ in trays} for trays in (standing, even_heights(stock, standing))]
    assert [len(some) for some in heights] == [2, 1]


def test_walls_are_no_lower_than_any_thing_or_label_of_the_tray_asks_for():
    boxes = [thing({"kind": "box", "size": [60, 40, 9]}, f"k{k}", group="a", label=k == 1) for k in range(2)]
    stock = assortment(boxes, ground(span=(12, 12), half_cells=False))
    columns = [column for column, _ in search_drawer(ColumnPool(stock), Bay.open(12, 12, step=2), moves=2, spare=0.1)]
    (labelled,) = [LevelledTray(stock, column) for column in columns if column.ledge]
    assert stock.levels[labelled.least] >= ledge_walls(ledge=True)
    assert labelled.least > 0
    assert all(labelled.at_level(level) is None for level in range(labelled.least))
    assert labelled.at_level(labelled.least) is not None

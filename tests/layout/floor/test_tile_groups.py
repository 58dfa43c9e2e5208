from hypothesis import given
from hypothesis import strategies as st

from tests.layout.floor.tile_checks import connected
from worker.layout.floor.tile_groups import groups_of, locked_pairs


def test_a_pair_is_locked_when_it_can_slide_neither_way():
    assert locked_pairs([(0, 1, 1), (0, 1, -1), (1, 2, 1)]) == {(0, 1)}
    # that the first cannot slide one way is that the second cannot slide the other way
    assert locked_pairs([(0, 1, 1), (1, 0, 1)]) == {(0, 1)}
    assert locked_pairs([(0, 1, 1), (1, 0, -1)]) == set()


@given(st.integers(1, 9), st.data())
def test_groups_are_the_connected_sets(count, data):
    number = st.integers(0, count - 1)
    pairs = data.draw(st.lists(st.tuples(number, number), max_size=12))
    assert [list(group) for group in groups_of(count, pairs)] == connected(count, pairs)

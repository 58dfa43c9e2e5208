"""Likeness: which things may share a tray."""

from hypothesis import given
from hypothesis import strategies as st

from tests.layout.storage.things import standard, thing
from worker.layout.items.filling.likeness import families, use_of

_things = st.lists(
    st.tuples(
        st.integers(10, 300), st.sampled_from([None, "a", "b"]), st.sampled_from(["often", "sometimes", "rarely"])
    ),
    min_size=1, max_size=8,
).map(
    lambda rows: [
        thing({"kind": "box", "size": [long, 20, 10]}, f"k{k}", group=group, access=access)
        for k, (long, group, access) in enumerate(rows)
    ]
)  # fmt: skip


@given(_things, st.sampled_from(["group", "like", "any"]))
def test_everything_is_in_a_family_and_no_family_in_another(things, share):
    sets = [set(family) for family in families(things, share)]
    assert set().union(*sets) == set(range(len(things)))
    assert not any(first < other for first in sets for other in sets)


@given(_things)
def test_with_group_nothing_shares_with_another_group_nor_by_its_size_alone(things):
    for family in families(things, "group"):
        assert len(family) == 1 or (len({use_of(things[k]) for k in family}) == 1 and things[family[0]].group)


@given(_things)
def test_like_things_of_two_groups_are_of_a_size_and_used_about_as_often(things):
    ranks = {"often": 0, "sometimes": 1, "rarely": 2}
    for family in families(things, "like"):
        if len({things[k].group for k in family}) > 1:
            lengths = [max(things[k].shape.size) for k in family]
            assert max(lengths) <= 2.0 * min(lengths)
            uses = [ranks[things[k].access] for k in family]
            assert max(uses) - min(uses) <= 1


@given(_things)
def test_anything_shares_with_anything_if_the_spec_says_so(things):
    assert families(things, "any") == (tuple(range(len(things))),)


def test_a_group_a_tag_and_a_category_of_one_name_are_one():
    things = [
        thing({"kind": "box", "size": [205, 26, 22]}, "dinner fork", group="Cutlery"),
        standard("spoon-table", name="spoon"),
        thing({"kind": "box", "size": [150, 21, 18]}, "cake fork", tag="cutlery"),
        thing({"kind": "box", "size": [60, 55, 50]}, "can opener", group="tools"),
    ]
    assert [use_of(item) for item in things] == ["cutlery", "cutlery", "cutlery", "tools"]
    assert (0, 1, 2) in families(things)
    assert not any({0, 3} <= set(family) for family in families(things, "group"))

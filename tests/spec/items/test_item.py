import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from worker.spec import Item, catalogue, lookup
from worker.spec.errors import SpecError
from worker.spec.items.shape import Screw
from worker.spec.primitives.pydantic_errors import CARRIED

_BOX = {"kind": "box", "size": [40, "2 cm", '1/2"']}


def _item(**fields):
    return Item.model_validate({"name": "things", "shape": _BOX, **fields})


def _refused(**fields):
    with pytest.raises(ValidationError) as caught:
        _item(**fields)
    (error, *more) = caught.value.errors()
    assert not more
    own = error.get("ctx", {}).get(CARRIED)
    return error["loc"], own


def test_an_item_has_a_name_and_a_shape_and_sensible_defaults():
    item = _item()
    assert item.shape.size == (40.0, 20.0, 12.7)
    assert (item.count, item.storage, item.access, item.group, item.mass) == (1, None, "sometimes", None, None)
    assert (item.label, item.at, item.near, item.fixed, item.stack) == (False, None, None, False, None)
    assert item == Item.model_validate(item.model_dump(mode="json"))
    assert hash(item) == hash(_item())


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"shape": {"kind": "ball"}}, ("shape",)),
        ({"shape": {"size": [1, 2, 3]}}, ("shape",)),
        ({"shape": {"kind": "box", "size": [1, 2]}}, ("shape", "box", "size", 2)),
        ({"shape": {"kind": "box", "size": [1, 2, 0]}}, ("shape", "box", "size", 2)),
        ({"shape": {"kind": "box", "size": [1, 2, 3], "length": 4}}, ("shape", "box", "length")),
        ({"shape": {"kind": "cylinder", "diameter": 3001, "length": 4}}, ("shape", "cylinder", "diameter")),
        ({"shape": {"kind": "screw", "head_diameter": 7, "head_height": 4, "diameter": 4}}, ("shape",)),
        ({"shape": {"kind": "polygon", "points": [[0, 0], [9, 9], [9, 0], [0, 9]], "height": 4}},
         ("shape", "polygon", "points")),
        ({"shape": {"kind": "standard", "id": "battery-xy"}}, ("shape", "standard", "id")),
        ({"shape": {"kind": "standard", "id": "bolt-cap-m4"}}, ("shape", "standard", "length")),
        ({"shape": {"kind": "standard", "id": "bolt-cap-m4", "length": 2}}, ("shape", "standard", "length")),
        ({"shape": {"kind": "standard", "id": "nut-m4", "length": 20}}, ("shape", "standard", "length")),
        ({"count": 0}, ("count",)),
        ({"count": True}, ("count",)),
        ({"count": 10_001}, ("count",)),
        ({"count": 61, "storage": "pocket"}, ("count",)),
        ({"storage": "flying"}, ("storage",)),
        ({"pose": "leaning"}, ("pose",)),
        ({"pose": "flat", "storage": "upright"}, ("pose",)),
        ({"pose": "on_edge", "storage": "rows"}, ("pose",)),
        ({"pose": "as_given", "storage": "loose"}, ("pose",)),
        ({"nest": 13}, ("nest",)),
        ({"nest": 0}, ("nest",)),
        ({"nest": 3, "storage": "pocket"}, ("storage",)),
        ({"nest": 3, "soft": {}}, ("nest",)),
        ({"soft": {"fill": 1.2}}, ("soft", "fill")),
        ({"soft": {"height": 20}}, ("soft", "height")),
        ({"soft": {}, "storage": "pocket"}, ("storage",)),
        ({"engraved": True}, ("storage",)),
        ({"engraved": True, "storage": "rows"}, ("storage",)),
        ({"engraved": True, "storage": "pocket", "pose": "on_edge"}, ("pose",)),
        ({"engraved": True, "storage": "pocket", "count": 13}, ("count",)),
        (
            {"engraved": True, "storage": "pocket", "shape": {"kind": "cylinder", "diameter": 9, "length": 40}},
            ("engraved",),
        ),
        ({"engraved": True, "storage": "pocket", "shape": {"kind": "standard", "id": "bolt-cap-m4", "length": 16}},
            ("engraved",)),
        ({"engraved": True, "storage": "pocket", "shape":
            {"kind": "tapered", "diameter": 10, "end_diameter": 4, "length": 90}}, ("engraved",)),
        ({"soft": {"height": 5}, "shape": {"kind": "cylinder", "diameter": 9, "length": 40}}, ("soft", "height")),
        ({"access": "never"}, ("access",)),
        ({"mass": -1}, ("mass",)),
        ({"label": 5}, ("label",)),
        ({"label": "a" * 41}, ("label",)),
        ({"label": " "}, ("label",)),
        ({"label": True, "name": "n" * 41}, ("label",)),
        ({"at": [0.25, 0]}, ("at", 0)),
        ({"at": [1, 1], "near": "others"}, ("near",)),
        ({"near": "things"}, ("near",)),
        ({"fixed": 1}, ("fixed",)),
        ({"stack": "yes"}, ("stack",)),
    ],
)  # fmt: skip
def test_every_rule_refuses_at_its_field(fields, where):
    place, own = _refused(**fields)
    assert place == where
    assert own is None or isinstance(own, SpecError)


@pytest.mark.parametrize(
    "shape",
    [
        {"kind": "box", "size": [40, 20, 30]},
        {"kind": "cylinder", "diameter": 40, "length": 9},
        {"kind": "polygon", "points": [[0, 0], [60, 0], [20, 40]], "height": 9},
    ],
)
def test_what_lies_flat_may_have_an_engraved_outline(shape):
    assert _item(shape=shape, storage="pocket", engraved=True, count=12, pose="flat").engraved


def test_a_refusal_of_our_own_says_what_would_help():
    for fields in ({"near": "things"}, {"at": [1, 1], "near": "b"}, {"count": 61, "storage": "pocket"}):
        assert _refused(**fields)[1].remedy


def test_an_unknown_id_names_what_comes_close():
    _, own = _refused(shape={"kind": "standard", "id": "batery-aa"})
    assert own.value == "batery-aa"
    assert "battery-aa" in own.remedy
    _, own = _refused(shape={"kind": "standard", "id": "qqqqqqqq"})
    assert own.remedy


def test_a_label_is_a_text_or_the_name():
    assert _item(label="M4 x 16").label_text == "M4 x 16"
    assert _item(label=True).label_text == "things"
    assert _item().label_text is None


def test_what_is_rarely_wanted_may_be_stacked_unless_it_says_otherwise():
    assert _item(access="rarely").stacks
    assert not _item().stacks
    assert not _item(access="rarely", stack=False).stacks
    assert _item(stack=True).stacks


def test_a_standard_thing_has_the_catalogues_shape():
    assert _item(shape={"kind": "standard", "id": "battery-aa"}).plain == lookup("battery-aa").shape
    screw = _item(shape={"kind": "standard", "id": "bolt-cap-m4", "length": "16 mm"}).plain
    assert isinstance(screw, Screw)
    assert (screw.diameter, screw.length) == (4.0, 16.0)
    assert lookup("bolt-cap-m4").shape.length is None


def test_the_catalogue_names_its_sources_and_no_thing_twice():
    entries = catalogue()
    assert len({entry.id for entry in entries}) == len(entries) > 40
    assert all(entry.source and entry.name for entry in entries)
    assert {entry.takes_length for entry in entries if entry.id.startswith("bolt")} == {True}
    assert lookup("nut-m4") in entries
    assert catalogue() is entries


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=90))
def test_any_other_id_is_refused_with_a_remedy(name):
    assume(name not in {entry.id for entry in catalogue()})
    with pytest.raises(SpecError) as refused:
        lookup(name)
    assert refused.value.remedy
    assert refused.value.limit


@settings(max_examples=60, deadline=None)
@given(st.sampled_from([entry.id for entry in catalogue()]), st.none() | st.floats(3.0, 300.0))
def test_a_standard_thing_has_a_length_exactly_when_it_needs_one(name, length):
    shape = {"kind": "standard", "id": name} | ({} if length is None else {"length": length})
    try:
        item = _item(shape=shape)
    except ValidationError:
        assert lookup(name).takes_length is (length is None)
    else:
        assert lookup(name).takes_length is (length is not None)
        assert item.plain.kind != "standard"


def test_cutlery_nests_unless_the_item_says_otherwise():
    fork = {"shape": {"kind": "standard", "id": "fork-table"}}
    assert _item(**fork).nesting_step == lookup("fork-table").nest == 4.0  # common practice
    assert _item(**fork, nest=6).nesting_step == 6.0
    assert _item(**fork, nest=None).nesting_step is None
    assert _item(**fork, storage="pocket").nesting_step is None
    assert _item(**fork, soft={}).nesting_step is None
    assert _item(shape={"kind": "standard", "id": "knife-table"}).nesting_step is None


def test_a_name_that_is_a_label_has_forty_characters_at_most():
    assert _item(name="n" * 40, label=True).label_text == "n" * 40
    where, error = _refused(name="n" * 41, label=True)
    assert where[-1] == "label"
    assert error.limit == "a name of at most 40 characters"


def test_a_long_name_is_no_label_but_may_have_one():
    name = "n" * 41
    assert _refused(name=name, label=True)[0] == ("label",)
    assert _item(name=name, label="short").label == "short"
    assert _item(name=name[1:], label=True).label is True

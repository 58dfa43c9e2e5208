"""Specs that name drawers and things by id."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.jobs.common.errors import DrawerNotFound, ThingNotFound
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.household.household import Household
from worker.spec import load
from worker.spec.errors import SpecError
from worker.spec.requests.household import DrawerRequest, ThingRequest

_BOX = {"kind": "box", "size": [60, 30, 15]}
_TOP = {
    "name": "top drawer",
    "width": "300 mm",
    "depth": 260,
    "height": 60,
    "obstacles": [{"at": [0, 0], "size": [20, 20]}],
}
_UNKNOWN = "0" * 26


@pytest.fixture(scope="module")
def household(tmp_path_factory):
    database = open_database(Settings.read(data_dir=tmp_path_factory.mktemp("data")).database)
    yield Household(database)
    database.dispose()


@pytest.fixture(scope="module")
def drawer(household):
    request = DrawerRequest(**_TOP, printer={"bed": [220, 220, 220]}, place="in the hall", tags=["tools"], note="old")
    return household.drawers.create("local", request)


@pytest.fixture(scope="module")
def thing(household, drawer):
    return household.things.create(
        "local", ThingRequest(name="clips", shape=_BOX, count=4, tags=["steel", "office"], drawer=drawer.id)
    )


def _spec(**fields):
    return {"spec": "1", "name": "job", **fields}


def test_a_drawer_named_by_id_is_complete(household, drawer, thing):
    given_spec = _spec(drawers=[{"id": drawer.id}])

    spec = load(household.resolve(given_spec, "local"))

    assert given_spec == _spec(drawers=[{"id": drawer.id}])
    (entry,) = spec.drawers
    assert (entry.id, entry.name, entry.width, entry.height) == (drawer.id, "top drawer", (300.0,), 60.0)
    assert len(entry.obstacles) == 1
    assert spec.printer.bed[0] == 220.0
    (item,) = entry.items
    assert (item.id, item.name, item.count, item.tag) == (thing.id, "clips", 4, "steel")


def test_what_the_spec_says_takes_precedence(household, drawer, thing):
    entry = {"id": drawer.id, "height": 40, "items": []}
    document = _spec(drawers=[entry], items=[{"id": thing.id, "count": 2}], printer={"bed": [180, 180, 180]})

    spec = load(household.resolve(document, "local"))

    assert spec.drawers[0].height == 40.0
    assert spec.drawers[0].items == ()
    assert (spec.items[0].name, spec.items[0].count) == ("clips", 2)
    assert spec.printer.bed[0] == 180.0


def test_a_thing_without_a_shape_is_no_item(household, drawer):
    shapeless = household.things.create("local", ThingRequest(name="scissors"))
    document = _spec(drawers=[{"id": drawer.id, "items": [{"id": shapeless.id}]}])

    with pytest.raises(SpecError) as refused:
        household.resolve(document, "local")

    assert refused.value.pointer == "/drawers/0/items/0/id"
    document["drawers"][0]["items"][0]["shape"] = _BOX
    assert load(household.resolve(document, "local")).drawers[0].items[0].name == "scissors"


@pytest.mark.parametrize(("owner", "drawer_id"), [("somebody", None), ("local", _UNKNOWN)])
def test_what_is_not_there_is_reported_with_its_place(household, drawer, owner, drawer_id):
    with pytest.raises(DrawerNotFound) as refused:
        household.resolve(_spec(drawers=[{"name": "a"}, {"id": drawer_id or drawer.id}]), owner)
    assert refused.value.pointer == "/drawers/1/id"
    with pytest.raises(ThingNotFound) as refused:
        household.resolve(_spec(items=[{"id": _UNKNOWN}]), owner)
    assert refused.value.pointer == "/items/0/id"


def test_drawers_with_different_printers_need_one_in_the_spec(household, drawer):
    other = household.drawers.create("local", DrawerRequest(**{**_TOP, "name": "b"}, printer={"bed": [180, 180, 180]}))
    document = _spec(drawers=[{"id": drawer.id}, {"id": other.id}])

    with pytest.raises(SpecError) as refused:
        household.resolve(document, "local")

    assert refused.value.pointer == "/printer"
    assert load(household.resolve({**document, "printer": {"bed": [200, 200, 200]}}, "local")).printer.bed[0] == 200.0


def test_a_drawer_has_no_copies_and_is_named_once(household, drawer):
    for entries, pointer in (
        ([{"id": drawer.id, "copies": 2}], "/drawers/0/copies"),
        ([{"id": drawer.id}, {"id": drawer.id, "name": "again", "items": []}], "/drawers/1/id"),
    ):
        with pytest.raises(SpecError) as refused:
            load(household.resolve(_spec(drawers=entries), "local"))
        assert refused.value.pointer == pointer


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["id", "drawers", "items", "name"]), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(document=_JSON)
def test_whatever_names_nothing_of_the_household_is_left_as_it_is(household, document):
    """Random text is no id of the household: the document is unchanged, or the id is reported."""
    try:
        complete = household.resolve(document, "local")
    except (DrawerNotFound, ThingNotFound) as refused:
        complete, document = refused.pointer.rpartition("/")[2], "id"
    assert complete == document

"""Specs that name drawers and things by id."""

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given
from hypothesis import strategies as st

from worker.jobs.common.errors import DrawerNotFound, SilhouetteNotFound, ThingNotFound
from worker.jobs.common.ids import new_id
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.household.household import Household
from worker.jobs.records.silhouettes import NewSilhouette
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
_PRINTER = {"printer": {"bed": [220, 220, 220]}}


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


@pytest.fixture(scope="module")
def silhouette(household):
    """An L of 60 x 40 mm, 12 mm high."""
    corners = [[0, 0], [60, 0], [60, 15], [20, 15], [20, 40], [0, 40]]
    outline = {"outer": corners, "holes": [], "depth": 12.0, "uncertainty": 0.05, "corners": corners}
    new = NewSilhouette(new_id(), "bracket", "points", "{}", result={"outline": outline, "poses": []})
    return household.silhouettes.find(household.silhouettes.add(new, owner="local"), "local")


def test_an_item_takes_the_outline_of_its_silhouette(household, silhouette):
    shape = {"kind": "silhouette", "id": silhouette.id}

    items = [{"name": "bracket", "shape": shape}, {"name": "low", "shape": {**shape, "height": "5 mm"}}]
    (item, lower) = load(household.resolve(_spec(drawers=[_TOP], items=items, **_PRINTER), "local")).items

    assert item.shape.kind == "polygon"
    assert item.shape.points == ((0, 0), (60, 0), (60, 15), (20, 15), (20, 40), (0, 40))
    assert (item.shape.height, lower.shape.height) == (12.0, 5.0)


def test_a_thing_with_a_silhouette_is_complete_in_a_spec(household, drawer, silhouette):
    request = ThingRequest(name="bracket", shape={"kind": "silhouette", "id": silhouette.id}, drawer=drawer.id)
    thing = household.things.create("local", request)

    by_drawer = load(household.resolve(_spec(drawers=[{"id": drawer.id}]), "local")).drawers[0].items
    (exported,) = (entry.thing for entry in household.export("local").things if entry.id == thing.id)

    assert [item.shape.height for item in by_drawer if item.id == thing.id] == [12.0]
    assert exported.shape.kind == "polygon"
    household.things.remove(thing.id, "local")


@given(st.floats(-360.0, 360.0))
def test_a_pocket_takes_the_turned_outline(household, silhouette, turn):
    pocket = {"shape": "silhouette", "id": silhouette.id, "at": [10, 5], "turn": turn, "clearance": 0.5}
    tray = {"name": "left", "cells": [4, 4], "height": 30, "pockets": [pocket]}
    spec = load(household.resolve(_spec(drawers=[{**_TOP, "trays": [tray]}], **_PRINTER), "local"))

    (made,) = spec.drawers[0].trays[0].pockets

    assert (made.depth, made.clearance) == (6.0, 0.5)
    assert min(x for x, _ in made.points) == pytest.approx(10.0, abs=2e-3)
    assert min(y for _, y in made.points) == pytest.approx(5.0, abs=2e-3)
    assert shapely.Polygon(made.points).area == pytest.approx(60 * 15 + 20 * 25, rel=1e-3)
    left = shapely.affinity.rotate(shapely.Polygon(silhouette.result["outline"]["corners"]), turn)
    assert shapely.Polygon(made.points).bounds[2] - 10.0 == pytest.approx(left.bounds[2] - left.bounds[0], abs=5e-3)


def test_a_pocket_without_a_place_is_to_be_nested(household, silhouette):
    pocket = {"shape": "silhouette", "id": silhouette.id, "count": 2, "mirrored": True}
    tray = {"name": "tools", "cells": [3, 3], "height": 40, "pockets": [pocket]}
    spec = _spec(drawers=[{**_TOP, "trays": [tray]}], **_PRINTER)

    (made,) = load(household.resolve(spec, "local")).drawers[0].trays[0].pockets

    assert (made.shape, made.count, made.turns, made.mirrored, made.depth) == ("nested", 2, "any", True, 6.0)
    assert np.array(made.points) == pytest.approx(np.array(silhouette.result["outline"]["corners"]))
    assert made.notch is not None


def test_a_silhouette_that_is_unknown_or_unread_is_named_by_its_pointer(household):
    unread = household.silhouettes.add(NewSilhouette(new_id(), "photo", "photo", "{}"), owner="local")
    flat = NewSilhouette(new_id(), "flat", "points", "{}", result={"outline": {"depth": None, "corners": [[0, 0]]}})
    no_height = household.silhouettes.add(flat, owner="local")

    def refusal(error, silhouette_id):
        item = {"name": "bracket", "shape": {"kind": "silhouette", "id": silhouette_id}}
        with pytest.raises(error) as refused:
            household.resolve(_spec(items=[item]), "local")
        return refused.value.pointer

    assert refusal(SilhouetteNotFound, _UNKNOWN) == "/items/0/shape/id"
    assert refusal(SpecError, unread) == "/items/0/shape/id"
    assert refusal(SpecError, no_height) == "/items/0/shape"
    assert refusal(SpecError, "nonsense") == "/items/0/shape/id"


def test_without_a_service_a_silhouette_is_refused():
    pocket = {"shape": "silhouette", "id": _UNKNOWN, "at": [0, 0]}
    tray = {"name": "left", "cells": [2, 2], "height": 30, "pockets": [pocket]}
    item = {"name": "bracket", "shape": {"kind": "silhouette", "id": _UNKNOWN}}

    with pytest.raises(SpecError) as refused:
        load(_spec(drawers=[{**_TOP, "trays": [tray]}], items=[item], **_PRINTER))

    assert {error.pointer for error in refused.value.errors} == {"/items/0/shape", "/drawers/0/trays/0/pockets/0"}

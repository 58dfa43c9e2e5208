"""The search on SQLite and PostgreSQL: both answer the same."""

import pytest

from tests.jobs.household.printed_jobs import TOP, add_job, record
from worker.jobs.household.thing_search import ThingSearch
from worker.spec.requests.household import DrawerRequest, ThingRequest

_NAMES = (
    "calliper",
    "steel rule",
    "tape measure",
    "screwdriver, small",
    "screwdriver, large",
    "scissors",
    "sewing needles",
)
_BOX = {"kind": "box", "size": [60, 30, 15]}


@pytest.fixture
def things(household):
    made = {name: household.things.create("local", ThingRequest(name=name)) for name in _NAMES}
    standard = ThingRequest(
        name="for the torch", shape={"kind": "standard", "id": "battery-aa"}, tags=["spare", "power"]
    )
    made["batteries"] = household.things.create("local", standard)
    household.things.create("somebody", ThingRequest(name="calliper of somebody"))
    return made


def _names(household, query, owner="local"):
    return [located.thing.request.name for located in household.locate(query, owner, 10)]


@pytest.mark.parametrize(
    ("query", "best"),
    [
        ("calliper", "calliper"),
        ("Callipers", "calliper"),
        ("caliper", "calliper"),
        ("where is my calipper?", "calliper"),
        ("tape mesure", "tape measure"),
        ("large screwdrivers", "screwdriver, large"),
        ("small scrwdriver", "screwdriver, small"),
        ("needle", "sewing needles"),
        ("power", "for the torch"),  # a tag
        ("AA battery", "for the torch"),  # the name in the catalogue, and its category
        ("battery-aa", "for the torch"),
        ("batteries", "for the torch"),
        ("SCISSOR", "scissors"),
        ("red scissors", "scissors"),
    ],
)
def test_a_thing_is_found(household, things, query, best):
    assert things
    assert _names(household, query)[0] == best


@pytest.mark.parametrize("query", ["xylophone", "?", "qq", "%", "calliper xylophone kangaroo", "zzz" * 60])
def test_what_is_not_there_is_not_found(household, things, query):
    assert things
    assert _names(household, query) == []


def test_every_owner_finds_their_own(household, things):
    assert things
    assert _names(household, "calliper") == ["calliper"]
    assert _names(household, "calliper", "somebody") == ["calliper of somebody"]
    assert set(_names(household, "calliper", None)) == {"calliper", "calliper of somebody"}


def test_the_index_follows_changes(household, things):
    thing = things["calliper"]
    household.things.replace(thing.id, "local", ThingRequest(name="micrometer"))
    assert _names(household, "calliper") == []
    assert _names(household, "micrometers") == ["micrometer"]
    household.things.remove(thing.id, "local")
    assert _names(household, "micrometer") == []


def test_better_matches_have_higher_scores(settings, household, things):
    assert things
    search = ThingSearch(household._database)
    exact, form, typing = (search.find(query, "local", 3)[0].score for query in ("calliper", "callipers", "caliper"))
    assert 1.0 == exact > form > typing > 0.5
    assert settings is not None


def test_the_answer_says_where_it_lies(household, prints, records, blobs):
    drawer = household.drawers.create("local", DrawerRequest(**TOP, place="in the workshop"))
    clips, pins = (
        household.things.create("local", ThingRequest(name=name, shape=_BOX, count=3, drawer=drawer.id))
        for name in ("clips", "pins")
    )
    assert household.locate("clips", "local", 1)[0].sentence == "Clips: in top drawer in the workshop."
    spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [{"id": drawer.id}]}
    job = add_job(records, blobs, household.resolve(spec, None))
    floor = next(part.mark for part in job.manifest.parts if part.kind == "tile")
    record(prints, household, job, "placed", mark=floor)
    assert household.locate("clips", "local", 1)[0].sentence.endswith("which is not recorded as placed yet.")

    household.lay_out(drawer.id, "local", job, None)

    entry = job.entry("top drawer")
    for thing in (clips, pins):
        (located,) = household.locate(thing.request.name, "local", 1)
        place = located.places[0]
        contents = [content for content in entry.contents if content.item == thing.request.name]
        assert [(content.at, content.size, content.count) for content in contents] == [
            (own.at, own.size, own.count) for own in located.places
        ]
        assert place.placed
        assert place.mark == entry.placements[contents[0].placement].mark
        assert located.sentence.startswith(
            f"{thing.request.name.title()}: in top drawer in the workshop, tray {place.mark} "
        )


@pytest.mark.parametrize(
    ("request_fields", "sentence"),
    [
        ({"place": "on the shelf"}, "Glue: on the shelf."),
        ({}, "It is not recorded where glue is."),
    ],
)
def test_a_thing_in_no_drawer(household, request_fields, sentence):
    household.things.create("local", ThingRequest(name="glue", **request_fields))
    assert household.locate("glue", "local", 1)[0].sentence == sentence

"""Export and import of whole households, on SQLite and PostgreSQL."""

from datetime import UTC, datetime

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as examples
from hypothesis import strategies as st
from sqlalchemy import delete

from tests.jobs.household.printed_jobs import TOP, TRAYS, add_job, record
from worker.jobs.common.errors import HouseholdConflict, QuotaReached
from worker.jobs.common.ids import new_id
from worker.jobs.database.connection import open_database
from worker.jobs.database.tables import DrawerRow, PieceRow, ThingRow
from worker.jobs.household import transfer
from worker.jobs.household.household import Household
from worker.jobs.household.pieces import PieceFilters
from worker.spec.reading.json_limits import HOUSEHOLD_LIMITS
from worker.spec.reading.loader import load_as, parse
from worker.spec.requests.household import DrawerRequest, PieceRequest, ThingRequest
from worker.spec.requests.household_document import HouseholdDocument

_BOX = {"kind": "box", "size": [60, 30, 15]}


def _text(document):
    return document.model_dump_json(exclude_unset=True).encode()


def _read(text):
    return load_as(HouseholdDocument, parse(text, HOUSEHOLD_LIMITS), HOUSEHOLD_LIMITS)


@pytest.fixture
def empty():
    """An empty household in a database of its own."""
    database = open_database("sqlite://")
    yield Household(database)
    database.dispose()


@pytest.fixture
def lived_in(household, prints, records, blobs):
    """A household with a laid drawer, of which some pieces are placed, and one that is not laid out."""
    drawer = household.drawers.create("local", DrawerRequest(**TOP, place="in the hall", tags=("a", "b")))
    household.drawers.create(
        "local", DrawerRequest(name="attic", outline=[[0, 0], [300, 0], [300, 200], [0, 250]], height=50)
    )
    clips = household.things.create("local", ThingRequest(name="paper clips", shape=_BOX, drawer=drawer.id))
    household.things.create("local", ThingRequest(name="ladder", place="behind the door", access="rarely"))
    spec = {"spec": "1", "name": "job", "drawers": [{"id": drawer.id, "items": [{"id": clips.id}], "trays": TRAYS}]}
    job = add_job(records, blobs, household.resolve(spec, None))
    screws = next(part.mark for part in job.manifest.parts if part.name == "screws")
    record(prints, household, job, "printed", mark=screws, count=3)
    record(prints, household, job, "placed", mark=screws, count=2)
    spare = {"mark": "T9", "name": "keys", "digest": "5f" * 32, "state": "spare", "note": "printed twice"}
    household.pieces.create("local", PieceRequest(**spare))
    return household


def test_an_import_into_an_empty_household_reproduces_it(lived_in, empty):
    text = _text(lived_in.export("local"))

    empty.add("somebody", _read(text))

    assert _text(empty.export("somebody")) == text
    (drawer,) = (entry for entry in empty.drawers.list("somebody", 9) if entry.request.name == "top drawer")
    before, after = lived_in.contents(drawer.id, None), empty.contents(drawer.id, "somebody")
    assert after.manifest == before.manifest
    assert [place.piece and place.piece.id for place in after.places] == [
        place.piece and place.piece.id for place in before.places
    ]
    sentences = [[match.sentence for match in own.locate("clip", None, 3)] for own in (lived_in, empty)]
    assert sentences[0] == sentences[1] != []


def test_an_import_belongs_to_its_owner_only(lived_in, empty):
    empty.add("somebody", lived_in.export("local"))
    other = empty.export("other")
    assert (other.drawers, other.things, other.pieces) == ((), (), ())
    assert empty.locate("clip", "other", 3) == []


def test_ids_that_are_taken_refuse_the_whole_document(lived_in):
    document = lived_in.export("local")
    before = _text(document)
    free = document.things[0].model_copy(update={"id": new_id()})
    mixed = document.model_copy(update={"drawers": (), "things": (free, document.things[1]), "pieces": ()})

    with pytest.raises(HouseholdConflict) as caught:
        lived_in.add("somebody", mixed)

    assert [error.pointer for error in caught.value.errors] == ["/things/1/id"]
    assert caught.value.errors[0].value == document.things[1].id
    assert _text(lived_in.export("local")) == before
    assert lived_in.things.list("somebody", 9) == []


def test_with_new_ids_a_copy_stands_beside_the_original(lived_in):
    document = lived_in.export("local")

    lived_in.add("local", document, new_ids=True)

    both = lived_in.export("local")
    originals = {entry.id for entries in (document.drawers, document.things, document.pieces) for entry in entries}
    copies = [
        [entry for entry in entries if entry.id not in originals]
        for entries in (both.drawers, both.things, both.pieces)
    ]
    assert [len(entries) for entries in copies] == [len(document.drawers), len(document.things), len(document.pieces)]
    drawers = {entry.id: entry for entry in copies[0]}
    clips = next(entry for entry in copies[1] if entry.thing.name == "paper clips")
    laid = drawers[clips.thing.drawer]
    assert clips.id in laid.layout.things
    assert sum(entry.piece.drawer == laid.id and entry.placement is not None for entry in copies[2]) == 2
    assert lived_in.contents(laid.id, "local").layout.job == document.drawers[0].layout.job


def test_a_failure_in_the_middle_leaves_nothing(lived_in, empty, monkeypatch):
    monkeypatch.setattr(transfer, "index_new_things", lambda *_: (_ for _ in ()).throw(OSError("disk full")))
    with pytest.raises(OSError, match="disk full"):
        empty.add("local", lived_in.export("local"))
    assert empty.export(None).drawers == ()


def test_quotas_hold(lived_in, empty, monkeypatch):
    monkeypatch.setitem(transfer.MOST_ROWS, "things", 1)
    with pytest.raises(QuotaReached) as caught:
        empty.add("local", lived_in.export("local"))
    assert (caught.value.pointer, caught.value.value) == ("/things", 2)


def test_pieces_that_name_a_job_of_another_owner_are_left_alone(household, prints, records, blobs):
    drawer = household.drawers.create("local", DrawerRequest(**TOP))
    spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [{"id": drawer.id, "trays": TRAYS}]}
    job = add_job(records, blobs, household.resolve(spec, None))
    screws = next(part.mark for part in job.manifest.parts if part.name == "screws")
    record(prints, household, job, "printed", mark=screws)
    household.add("somebody", household.export("local"), new_ids=True)
    (theirs,) = household.pieces.list("somebody", 9)

    record(prints, household, job, "placed", mark=screws)
    record(prints, household, job, "failed", mark=screws)

    assert household.pieces.list("somebody", 9) == [theirs]
    assert household.pieces.list("local", 9, filters=PieceFilters(job=job.id)) == []


_MOMENTS = st.datetimes(datetime(2001, 1, 1), datetime(2199, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001 - bounds have none
_TEXTS = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S")), min_size=1, max_size=30)
_TAGS = st.lists(_TEXTS, max_size=3, unique=True)


@st.composite
def _households(draw):
    """Return the JSON of a household without layouts; lengths are those that a caller may write."""
    ids = [draw(st.integers(0, 32**25 - 1)) for _ in range(3)]
    numbers = iter(range(1000))

    def identity(kind):
        digits = "0123456789abcdefghjkmnpqrstvwxyz"
        made, number = "", ids[kind] * 1000 + next(numbers)
        for _ in range(26):
            number, digit = divmod(number, 32)
            made = digits[digit] + made
        return f"{kind}{made[1:]}"

    def times():
        return draw(
            st.fixed_dictionaries(
                {}, optional={"created": _MOMENTS.map(datetime.isoformat), "updated": _MOMENTS.map(datetime.isoformat)}
            )
        )

    lengths = st.one_of(st.integers(200, 600), st.floats(200, 600).map(lambda mm: round(mm, 2)), st.just("30 cm"))
    drawers = [
        {
            "id": identity(0),
            "drawer": draw(
                st.fixed_dictionaries(
                    {"name": _TEXTS, "width": lengths, "depth": lengths, "height": st.integers(40, 90)},
                    optional={"tags": _TAGS, "place": _TEXTS, "printer": st.just({"bed": [200, 200, 200]})},
                )
            ),
        }
        for _ in range(draw(st.integers(0, 3)))
    ]
    homes = st.sampled_from([None, *(drawer["id"] for drawer in drawers)])
    things = [
        {
            "id": identity(1),
            "thing": draw(
                st.fixed_dictionaries(
                    {"name": _TEXTS},
                    optional={
                        "count": st.integers(1, 99), "drawer": homes, "tags": _TAGS, "note": _TEXTS,
                        "shape": st.sampled_from([_BOX, {"kind": "standard", "id": "battery-aa"}, None]),
                        "access": st.sampled_from(["often", "sometimes", "rarely"]), "label": st.booleans(),
                    },
                )
            ),
        }
        for _ in range(draw(st.integers(0, 4)))
    ]  # fmt: skip
    pieces = [
        {
            "id": identity(2),
            "job": draw(st.sampled_from([None, "7" * 26])),
            "piece": draw(
                st.fixed_dictionaries(
                    {
                        "mark": st.from_regex(r"\A[A-Z][0-9]{1,5}\Z"), "name": _TEXTS, "digest": st.just("0" * 64),
                        "state": st.sampled_from(["printed", "spare", "retired"]), "drawer": homes,
                    }
                )
            ),
        }
        for _ in range(draw(st.integers(0, 4)))
    ]  # fmt: skip
    entries = {"drawers": drawers, "things": things, "pieces": pieces}
    return {"household": "1", **{kind: [{**entry, **times()} for entry in own] for kind, own in entries.items()}}


@pytest.fixture(scope="module")
def two_databases():
    databases = [open_database("sqlite://") for _ in range(2)]
    yield databases
    for database in databases:
        database.dispose()


@given(document=_households())
@examples(max_examples=30, suppress_health_check=[HealthCheck.too_slow])
def test_any_household_survives_two_moves(two_databases, document):
    """What is exported after an import is the same household, and a second move changes nothing at all."""
    for database in two_databases:
        with database.begin() as connection:
            for table in (ThingRow, PieceRow, DrawerRow):
                connection.execute(delete(table))
    first = load_as(HouseholdDocument, document, HOUSEHOLD_LIMITS)
    origin, target = (Household(database) for database in two_databases)
    origin.add("a", first)
    moved = origin.export("a")
    target.add("b", _read(_text(moved)))
    assert _text(target.export(None)) == _text(moved)
    for kind, what in (("drawers", "drawer"), ("things", "thing"), ("pieces", "piece")):
        given_entries = sorted(getattr(first, kind), key=lambda entry: entry.id)
        for before, after in zip(given_entries, getattr(moved, kind), strict=True):
            assert after.id == before.id
            assert getattr(after, what) == getattr(before, what)
            for moment in ("created", "updated"):
                assert getattr(before, moment) is None or getattr(after, moment) == getattr(before, moment)

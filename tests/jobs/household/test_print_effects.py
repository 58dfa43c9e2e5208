"""What print events change in the household, on SQLite and PostgreSQL."""

import contextlib
from collections import Counter

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as examples
from hypothesis import strategies as st

from tests.jobs.household.printed_jobs import TOP, TRAYS, add_job, record
from worker.jobs.common.errors import DrawerNotLaidOut, HouseholdRefused
from worker.jobs.household.layouts import reduced
from worker.jobs.household.pieces import PieceFilters
from worker.spec.errors import PrintRefused
from worker.spec.requests.household import DrawerRequest, PieceRequest, ThingRequest

_BOX = {"kind": "box", "size": [60, 30, 15]}


@pytest.fixture
def drawer(household):
    return household.drawers.create("local", DrawerRequest(**TOP))


def _spec(household, drawer, **fields):
    entry = {"id": drawer.id, **fields}
    return household.resolve({"spec": "1", "name": "job", "coupon": False, "drawers": [entry]}, None)


def _states(household, **filters):
    pieces = household.pieces.list("local", 200, filters=PieceFilters(**filters))
    return Counter((piece.mark, piece.state) for piece in pieces)


def _marks(job, name):
    """Return the mark of the trays with this name."""
    return next(part.mark for part in job.manifest.parts if part.kind == "tray" and part.name == name)


def test_pieces_are_printed_then_placed_and_the_drawer_follows(household, prints, records, blobs, drawer):
    job = add_job(records, blobs, _spec(household, drawer, trays=TRAYS))
    screws = _marks(job, "screws")

    record(prints, household, job, "printed", mark=screws, count=2)

    assert _states(household) == {(screws, "printed"): 2}
    assert household.drawers.piece_counts([drawer.id])[drawer.id] == {"printed": 2}
    with pytest.raises(DrawerNotLaidOut):
        household.contents(drawer.id, "local")

    record(prints, household, job, "placed", mark=screws, count=1)

    held = household.contents(drawer.id, "local")
    assert held.layout.job == job.id
    assert [place.part.mark for place in held.places if place.piece is not None] == [screws]
    assert [piece.state for piece in held.others] == ["printed"]
    after = household.drawers.find(drawer.id, "local")
    assert after.revision > drawer.revision
    (placed,) = household.pieces.list("local", 9, filters=PieceFilters(states=("placed",)))
    part = job.parts[screws]
    assert (placed.digest, placed.shape, placed.job, placed.drawer) == (part.digest, part.shape, job.id, drawer.id)
    assert (placed.part.shape, placed.part.estimate.grams) == (part.shape, 10.0)


def test_a_run_fills_the_places_of_its_pieces(household, prints, records, blobs, drawer):
    job = add_job(records, blobs, _spec(household, drawer, trays=TRAYS))

    for run in job.manifest.runs:
        record(prints, household, job, "placed", run=run.number)

    held = household.contents(drawer.id, "local")
    assert all(place.piece is not None and place.piece.mark == place.part.mark for place in held.places)
    assert held.others == ()
    assert len({place.piece.id for place in held.places}) == len(held.places) == job.manifest.work.pieces


def test_a_piece_that_turns_out_bad_is_removed(household, prints, records, blobs, drawer):
    job = add_job(records, blobs, _spec(household, drawer, trays=TRAYS))
    screws = _marks(job, "screws")
    record(prints, household, job, "placed", mark=screws, count=2)
    record(prints, household, job, "printed", mark=screws, count=1)

    record(prints, household, job, "failed", mark=screws, count=2)

    assert _states(household) == {(screws, "placed"): 1}
    record(prints, household, job, "placed", mark=screws, count=2)
    assert _states(household) == {(screws, "placed"): 3}
    numbers = [piece.placement for piece in household.pieces.of_drawer(drawer.id)]
    assert None not in numbers
    assert len(set(numbers)) == 3


def test_a_withdrawn_event_is_undone_in_the_drawer(household, prints, records, blobs, drawer):
    job = add_job(records, blobs, _spec(household, drawer, trays=TRAYS))
    screws = _marks(job, "screws")
    record(prints, household, job, "printed", mark=screws, count=2)
    record(prints, household, job, "placed", mark=screws, count=1)

    withdrawn, _ = record(prints, household, job, "withdrawn", event=2)

    assert _states(household) == {(screws, "printed"): 2}
    assert (withdrawn.outcome, withdrawn.event) == ("withdrawn", 2)
    assert [event.withdrawn_by for event in prints.events(job.id, 9)] == [None, 3, None]
    for event, words in ((2, "withdrawn already"), (3, "a withdrawal itself"), (9, "no such event")):
        with pytest.raises(PrintRefused, match=words):
            record(prints, household, job, "withdrawn", event=event)
    record(prints, household, job, "withdrawn", event=1)
    assert _states(household) == {}


def test_an_event_that_is_sent_twice_counts_once(household, prints, records, blobs, drawer):
    job = add_job(records, blobs, _spec(household, drawer, trays=TRAYS))
    screws = _marks(job, "screws")

    assert record(prints, household, job, "printed", mark=screws, id="a")[1]
    assert not record(prints, household, job, "printed", mark=screws, id="a")[1]

    assert _states(household) == {(screws, "printed"): 1}


def test_pieces_of_a_job_without_the_household_have_no_drawer(household, prints, records, blobs):
    plain = {**TOP, "trays": TRAYS}
    printer = plain.pop("printer")
    job = add_job(records, blobs, {"spec": "1", "name": "job", "drawers": [plain], "printer": printer})

    record(prints, household, job, "placed", mark=_marks(job, "screws"))

    (piece,) = household.pieces.list("local", 9)
    assert (piece.state, piece.drawer, piece.placement) == ("placed", None, None)


def test_a_drawer_of_another_owner_does_not_follow(household, prints, records, blobs):
    theirs = household.drawers.create("somebody", DrawerRequest(**TOP))
    job = add_job(records, blobs, _spec(household, theirs, trays=TRAYS))

    record(prints, household, job, "placed", mark=_marks(job, "screws"))

    assert household.drawers.find(theirs.id, None).layout is None
    assert household.pieces.list("local", 9)[0].drawer is None
    assert household.pieces.list("somebody", 9) == []


def test_a_new_layout_keeps_what_stays_and_retires_the_rest(household, prints, records, blobs, drawer):
    first = add_job(records, blobs, _spec(household, drawer, trays=TRAYS))
    for run in first.manifest.runs:
        record(prints, household, first, "placed", run=run.number)
    before = household.contents(drawer.id, "local")
    kept = {place.piece.id for place in before.places if place.part.kind == "tile"}
    trays = [{**TRAYS[0], "quantity": 2}, {"name": "deep", "cells": [2, 2], "height": 40}]
    previous = reduced(first.manifest, first.entry("top drawer"))
    second = add_job(records, blobs, _spec(household, drawer, trays=trays), previous=previous)
    deep = _marks(second, "deep")
    assert {piece.mark for run in second.manifest.runs for piece in run.pieces} == {deep}

    record(prints, household, second, "placed", mark=deep)

    held = household.contents(drawer.id, "local")
    assert held.layout.job == second.id
    assert all(place.piece is not None for place in held.places)
    assert kept <= {place.piece.id for place in held.places}
    retired = Counter(piece.mark for piece in held.others if piece.state == "retired")
    assert retired == {_marks(first, "screws"): 1, _marks(first, "bits"): 1}


def test_things_lie_where_the_layout_has_them(household, records, blobs, drawer):
    clips = household.things.create("local", ThingRequest(name="clips", shape=_BOX, count=4, drawer=drawer.id))
    tape = household.things.create("local", ThingRequest(name="tape", shape=_BOX, place="on the shelf"))
    job = add_job(records, blobs, _spec(household, drawer, items=[{"id": clips.id}, {"id": tape.id, "count": 2}]))
    assert household.things.places([clips.id]) == {}

    household.lay_out(drawer.id, "local", job, None)

    entry = job.entry("top drawer")
    for thing in (clips, tape):
        places = household.things.places([thing.id])[thing.id]
        assert {entry.contents[number].item for _, number in places} == {thing.request.name}
        assert sum(entry.contents[number].count for _, number in places) == {"clips": 4, "tape": 2}[thing.request.name]
        assert household.things.find(thing.id, "local").request.drawer == drawer.id
    household.drawers.remove(drawer.id, "local")
    assert household.things.places([clips.id]) == {}
    assert household.things.find(clips.id, "local").request.drawer is None


def test_a_whole_drawer_is_recorded_at_once(household, prints, records, blobs, drawer):
    job = add_job(records, blobs, _spec(household, drawer, trays=TRAYS))
    record(prints, household, job, "printed", mark=_marks(job, "screws"), count=2)

    after = household.lay_out(drawer.id, "local", job, None)
    household.lay_out(drawer.id, "local", job, "top drawer")  # the same again changes nothing

    assert after.layout.job == job.id
    held = household.contents(drawer.id, "local")
    assert all(place.piece is not None for place in held.places)
    assert held.others == ()
    with pytest.raises(HouseholdRefused) as refused:
        household.lay_out(drawer.id, "local", job, "another")
    assert refused.value.limit == "top drawer"


def test_pieces_of_a_removed_drawer_are_spare(household, records, blobs, drawer):
    job = add_job(records, blobs, _spec(household, drawer, trays=TRAYS))
    household.lay_out(drawer.id, "local", job, None)
    piece = household.pieces.of_drawer(drawer.id)[0]
    described = {name: getattr(piece, name) for name in ("mark", "kind", "name", "digest", "shape", "drawer")}
    household.pieces.replace(piece.id, "local", PieceRequest(**described, state="retired"))

    household.drawers.remove(drawer.id, "local")

    assert {state for _, state in _states(household)} == {"spare", "retired"}
    assert all(piece.drawer is None for piece in household.pieces.list("local", 200))


def test_a_spare_piece_that_is_placed_takes_a_free_place(household, records, blobs, drawer):
    job = add_job(records, blobs, _spec(household, drawer, trays=TRAYS))
    household.lay_out(drawer.id, "local", job, None)
    piece = household.pieces.of_drawer(drawer.id)[0]
    described = {name: getattr(piece, name) for name in ("mark", "kind", "name", "digest", "shape", "drawer")}

    spare = household.pieces.replace(piece.id, "local", PieceRequest(**described, state="spare"))
    again = household.pieces.replace(piece.id, "local", PieceRequest(**described, state="placed"))
    one_more = household.pieces.create("local", PieceRequest(**described, state="placed"))

    assert (spare.placement, again.placement, one_more.placement) == (None, piece.placement, None)


@st.composite
def _events(draw):
    outcome = draw(st.sampled_from(["printed", "placed", "failed", "withdrawn"]))
    if outcome == "withdrawn":
        return outcome, {"event": draw(st.integers(1, 6))}
    if draw(st.booleans()):
        return outcome, {"run": draw(st.integers(1, 4))}
    return outcome, {"name": draw(st.sampled_from(["screws", "bits"])), "count": draw(st.integers(1, 3))}


@examples(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=15, deadline=None)
@given(events=st.lists(_events(), max_size=8))
def test_pieces_agree_with_the_print_state(household, prints, records, blobs, *, drawer, events):
    """Whatever is reported, the household has as many pieces of each mark as the print state counts."""
    job = add_job(records, blobs, _spec(household, drawer, trays=TRAYS))
    for outcome, fields in events:
        named = {"mark": _marks(job, fields.pop("name")), **fields} if "name" in fields else fields
        with contextlib.suppress(PrintRefused):
            record(prints, household, job, outcome, **named)

    states = _states(household, job=job.id)
    status = prints.status(job.id)
    printed = {} if status is None else status.state.printed
    placed = {} if status is None else status.state.placed
    for mark in {part.mark for part in job.manifest.parts}:
        assert states[mark, "placed"] == placed.get(mark, 0)
        assert states[mark, "printed"] == printed.get(mark, 0) - placed.get(mark, 0)
    numbers = [
        piece.placement
        for piece in household.pieces.list("local", 200, filters=PieceFilters(states=("placed",), job=job.id))
    ]
    assert None not in numbers
    assert len(numbers) == len(set(numbers))

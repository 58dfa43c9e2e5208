"""Changes of a drawer, laid out against what is printed."""

from collections import Counter

import pytest

from tests.jobs.household.printed_jobs import TOP, add_job, record
from worker.jobs.common.errors import DrawerNotLaidOut, HouseholdRefused, ThingNotFound
from worker.jobs.common.settings import Settings
from worker.jobs.household.drawer_changes import SPARES, drawer_changes, with_spares
from worker.jobs.household.pieces import PieceFilters
from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.spec.requests.household import ChangesRequest, DrawerRequest, PieceRequest, ThingRequest

_SIZES = {"clips": [60, 30, 15], "pins": [40, 20, 10], "rule": [150, 30, 5], "tape": [70, 70, 35]}


@pytest.fixture
def settings(tmp_path):
    """SQLite alone: what differs between databases is tested beside the records."""
    return Settings.read(data_dir=tmp_path / "data")


@pytest.fixture
def drawer(household):
    return household.drawers.create("local", DrawerRequest(**TOP))


@pytest.fixture
def things(household, drawer):
    """Things by name; all but the tape belong in the drawer."""
    return {
        name: household.things.create(
            "local",
            ThingRequest(
                name=name, shape={"kind": "box", "size": size}, count=3, drawer=None if name == "tape" else drawer.id
            ),
        )
        for name, size in _SIZES.items()
    }


@pytest.fixture
def job(household, records, blobs, drawer, things):
    assert things
    spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [{"id": drawer.id}]}
    job = add_job(records, blobs, household.resolve(spec, None))
    household.lay_out(drawer.id, "local", job, None)
    return job


def _planned(household, drawer, **changes):
    change = household.change(drawer.id, "local", ChangesRequest(**changes))
    plan = plan_document(lay_out(change.spec))
    return change, plan, drawer_changes(plan.changes, change.spares)


def _total(entries):
    return sum(entry.count for entry in entries)


def test_without_changes_everything_stays(household, drawer, job):
    _, plan, changes = _planned(household, drawer)

    assert _total(changes.stay) == job.manifest.work.pieces
    assert (changes.move, changes.reuse, changes.new, changes.retire) == ((), (), (), ())
    assert plan.unplaced == ()


def test_a_thing_that_goes_leaves_its_tray_and_one_that_comes_gets_one(household, drawer, job, things):
    entry = job.entry("top drawer")
    trays_of = {content.item: entry.placements[content.placement].mark for content in entry.contents}

    change, _, changes = _planned(household, drawer, add=[things["tape"].id], remove=[things["rule"].id])

    assert {item.name for item in change.spec.drawers[0].items} == {"clips", "pins", "tape"}
    assert _total(changes.new) >= 1
    kept = Counter({pieces.mark: pieces.count for pieces in changes.stay})
    shared = {trays_of[name] for name in ("clips", "pins")}
    assert all(kept[mark] >= 1 for mark in shared)
    floor = {part.mark: part.quantity for part in job.manifest.parts if part.kind == "tile"}
    assert {mark: kept[mark] for mark in floor} == floor


def test_a_count_that_still_fits_prints_nothing(household, drawer, job, things):
    entry = job.entry("top drawer")
    room = sum(content.capacity for content in entry.contents if content.item == "pins")

    change, _, changes = _planned(household, drawer, counts={things["pins"].id: room})

    assert {item.name: item.count for item in change.spec.drawers[0].items}["pins"] == room
    assert changes.new == changes.move == changes.retire == ()


@pytest.mark.usefixtures("job")
def test_spare_and_retired_pieces_are_used_before_anything_is_printed(household, drawer, things, records, blobs):
    first = _planned(household, drawer, add=[things["tape"].id])[2]
    (new,) = [entry for entry in first.new if entry.kind == "tray"]
    # another job printed the same tray, and it is spare now
    other = household.drawers.create("local", DrawerRequest(**{**TOP, "name": "other"}))
    spec = {
        "spec": "1",
        "name": "other",
        "coupon": False,
        "drawers": [{"id": other.id, "items": [{"id": things["tape"].id}]}],
    }
    elsewhere = add_job(records, blobs, household.resolve(spec, None))
    household.lay_out(other.id, "local", elsewhere, None)
    household.things.replace(
        things["tape"].id, "local", ThingRequest(name="tape", shape=things["tape"].request.shape, count=3)
    )
    for piece in household.pieces.of_drawer(other.id):
        described = {name: getattr(piece, name) for name in ("mark", "kind", "name", "digest", "shape", "drawer")}
        household.pieces.replace(
            piece.id, "local", PieceRequest(**described, state="spare" if piece.kind == "tray" else "retired")
        )

    change, _, second = _planned(household, drawer, add=[things["tape"].id])

    assert [entry for entry in second.new if entry.kind == "tray"] == []
    (reused,) = second.reuse
    assert (reused.entry.kind, reused.entry.count) == ("tray", new.count)
    assert all(piece.shape == reused.pieces[0].shape and piece.kind == "tray" for piece in reused.pieces)
    assert second.retire == first.retire
    job_spec = change.with_used(second)
    plan = plan_document(lay_out(job_spec))
    assert plan.changes.new == second.new
    assert _total(plan.changes.retired) == _total(second.retire)
    assert {entry.name for entry in job_spec.previous.drawers} == {"top drawer", SPARES}


@pytest.mark.usefixtures("job")
def test_marks_of_spares_stand_for_one_shape_each(household, prints, records, blobs, drawer):
    """Marks are numbered by each job, so a spare of another job can have the mark of another shape."""
    held = household.contents(drawer.id, "local")
    taken = [place.part for place in held.places if place.part.kind == "tray"]
    other = household.drawers.create("local", DrawerRequest(**{**TOP, "name": "other"}))
    trays = [{"name": "deep", "cells": [2, 2], "height": 40}, {"name": "flat", "cells": [1, 2], "height": 20}]
    spec = {"spec": "1", "name": "other", "coupon": False, "drawers": [{"id": other.id, "trays": trays}]}
    elsewhere = add_job(records, blobs, household.resolve(spec, None))
    for run in elsewhere.manifest.runs:
        record(prints, household, elsewhere, "printed", run=run.number)
    pieces = household.pieces.list("local", 200, filters=PieceFilters(job=elsewhere.id))

    manifest, by_mark = with_spares(held.manifest, pieces)

    assert {part.mark for part in taken} & {piece.mark for piece in pieces}  # they do clash
    assert len({part.mark for part in manifest.parts}) == len(manifest.parts)
    shapes = {part.mark: part.shape for part in manifest.parts}
    assert all(piece.shape == shapes[mark] for mark, own in by_mark.items() for piece in own)
    assert sum(map(len, by_mark.values())) == len(pieces)
    assert [part for part in manifest.parts if part.mark in {own.mark for own in taken}] == [
        part for part in held.manifest.parts if part.mark in {own.mark for own in taken}
    ]


def test_changes_are_applied_to_the_things(household, drawer, job, things):
    assert job
    request = ChangesRequest(add=[things["tape"].id], remove=[things["rule"].id], counts={things["pins"].id: 9})

    household.apply(drawer.id, "local", request)

    belonging = {thing.request.name: thing.request.count for thing in household.things.of_drawer(drawer.id)}
    assert belonging == {"clips": 3, "pins": 9, "tape": 3}
    assert household.things.find(things["rule"].id, "local").request.drawer is None


def test_what_cannot_be_changed_is_refused(household, drawer, things):
    with pytest.raises(DrawerNotLaidOut):
        household.change(drawer.id, "local", ChangesRequest())
    assert things


def test_changes_name_things_of_the_drawer(household, drawer, job, things):
    assert job
    for fields, pointer in (
        ({"remove": [things["tape"].id]}, "/remove/0"),
        ({"counts": {things["tape"].id: 2}}, "/counts"),
    ):
        with pytest.raises(HouseholdRefused) as refused:
            household.change(drawer.id, "local", ChangesRequest(**fields))
        assert refused.value.pointer.startswith(pointer)
    with pytest.raises(ThingNotFound):
        household.change(drawer.id, "local", ChangesRequest(add=["0" * 26]))

"""A drawer with panels and lanes in the household: where things lie, and changes that keep what is printed."""

import pytest

from tests.jobs.household.printed_jobs import add_job, record
from worker.jobs.common.settings import Settings
from worker.jobs.household.drawer_changes import drawer_changes
from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.spec.requests.household import ChangesRequest, DrawerRequest, ThingRequest

LINEN = {"name": "linen", "width": 800, "depth": 500, "height": 120, "printer": {"bed": [256, 256, 256]}}
_SIZES = {"towels": [300, 200, 50], "rolls": [310, 45, 45], "box": [60, 60, 30]}
_PANELS = [{"along": "y", "at": 420, "height": 90}]


@pytest.fixture
def settings(tmp_path):
    """SQLite alone: what differs between databases is tested beside the records."""
    return Settings.read(data_dir=tmp_path / "data")


@pytest.fixture
def drawer(household):
    return household.drawers.create("local", DrawerRequest(**LINEN))


@pytest.fixture
def things(household, drawer):
    """Things by name; all but the box belong in the drawer."""
    return {
        name: household.things.create(
            "local",
            ThingRequest(
                name=name, shape={"kind": "box", "size": size}, count=3, storage="lane",
                drawer=None if name == "box" else drawer.id,
            ),
        )
        for name, size in _SIZES.items()
    }  # fmt: skip


@pytest.fixture
def lay_out_linen(household, records, blobs, drawer):
    """Return a function that lays the drawer out by a job, without its pieces in place."""

    def laid(**fields):
        spec = {"spec": "1", "name": "job", "coupon": False, "drawers": [{"id": drawer.id, **fields}]}
        return add_job(records, blobs, household.resolve(spec, None))

    return laid


@pytest.mark.parametrize("fields", [{"floor": "none"}, {"floor": "none", "panels": _PANELS}, {}])
def test_changes_keep_panels_lanes_and_floor(household, lay_out_linen, drawer, things, fields):
    job = lay_out_linen(**fields)
    assert job.manifest.drawers[0].panels
    household.lay_out(drawer.id, "local", job, None)
    for request in ({}, {"add": [things["box"].id]}, {"remove": [things["rolls"].id]}):
        change = household.change(drawer.id, "local", ChangesRequest(**request))
        plan = plan_document(lay_out(change.spec))
        changes = drawer_changes(plan.changes, change.spares)
        assert (changes.move, changes.reuse, changes.new, changes.retire) == ((), (), (), ())
        assert plan.unplaced == ()
        assert plan.drawers[0].panels == job.manifest.drawers[0].panels


@pytest.mark.usefixtures("things")
def test_a_thing_in_a_lane_is_placed_with_the_panels(household, prints, lay_out_linen, drawer):
    job = lay_out_linen(floor="none")
    marks = [part.mark for part in job.manifest.parts]
    record(prints, household, job, "placed", mark=marks[-1])

    (located,) = household.locate("where are the rolls", "local", 3)

    (place,) = located.places
    entry = job.manifest.drawers[0]
    (content,) = (content for content in entry.contents if content.item == "rolls")
    assert (place.mark, place.tray, place.compartment) == (None, entry.lanes[content.lane].name, None)
    assert located.sentence == (f"Rolls: in linen, {place.tray} {place.side}, which is not recorded as placed yet.")

    household.lay_out(drawer.id, "local", job, None)
    (located,) = household.locate("rolls", "local", 3)
    assert located.sentence == f"Rolls: in linen, {place.tray} {place.side}."

"""The record of prints on SQLite and PostgreSQL: one event after another, whoever writes at the same moment."""

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from hashlib import sha256

import pytest
from sqlalchemy import delete

from tests.printing.progress.planned_manifest import bench
from worker.jobs.common.errors import JobNotFound, PrintRepeated
from worker.jobs.database.connection import open_database
from worker.jobs.database.tables import JobRow
from worker.jobs.maintenance.job_deletion import JobDeletion
from worker.jobs.processes.child_environment import child_environment
from worker.jobs.records.models import StoredFile
from worker.jobs.records.print_events import PrintRecords
from worker.printing.progress.remaining import begin, follow
from worker.spec.errors import PrintRefused
from worker.spec.requests.print_event import PrintEvent


@pytest.fixture
def prints(settings):
    database = open_database(settings.database)
    yield PrintRecords(database)
    database.dispose()


@pytest.fixture
def job(records, blobs):
    """The identity of a job that succeeded, with the manifest of the bench."""
    spec, manifest = bench()
    data = manifest.model_dump_json().encode()
    added = records.add(spec.name, spec.model_dump_json())
    file = StoredFile("manifest.json", "application/json", len(data), sha256(data).hexdigest(), f"jobs/{added.id}/m")
    blobs.put(file.key, data)
    assert records.succeed(records.claim(added.id, lease_seconds=60.0, attempts=3), [file])
    return added.id


def _event(outcome, **fields):
    return PrintEvent(outcome=outcome, **fields)


def _tell(prints, job, event):
    spec, manifest = bench()
    return prints.record(job, event, lambda before: follow(before or begin(manifest), event, manifest, spec))


def test_events_are_kept_in_order(prints, job):
    at = datetime(2026, 3, 7, 18, 42, tzinfo=UTC)
    assert prints.status(job) is None
    assert prints.events(job, 10) == []
    events = [
        _tell(prints, job, event)[0]
        for event in (
            _event("printed", run=1, at=at, note="good"),
            _event("printed", mark="T1", count=2),
            _event("failed", run=2),
        )
    ]
    assert [stored.number for stored in events] == [1, 2, 3]
    assert (events[0].at, events[0].note, events[0].count, events[1].count) == (at, "good", None, 2)
    assert prints.events(job, 10) == events[::-1]  # what is read again is what was answered
    assert prints.events(job, 1, after=3) == [events[1]]
    status = prints.status(job)
    assert (status.revision, status.repack) == (3, True)
    assert events[-1].pieces_left == status.state.left.total()
    assert events[-1].runs_left == len(status.state.open)


def test_a_refused_event_leaves_nothing(prints, job):
    with pytest.raises(PrintRefused):
        _tell(prints, job, _event("printed", run=99))
    assert prints.status(job) is None
    assert prints.events(job, 10) == []


def test_an_id_names_one_event(prints, job):
    event = _event("printed", mark="T1", id="a")
    first, new = _tell(prints, job, event)
    again, newer = _tell(prints, job, event)
    assert (new, newer, again) == (True, False, first)
    with pytest.raises(PrintRepeated) as caught:
        _tell(prints, job, _event("printed", mark="T1", count=2, id="a"))
    assert caught.value.pointer == "/id"
    # without an id every event is one of its own
    assert _tell(prints, job, _event("printed", mark="T1"))[0].number == 2


def test_threads_lose_no_event(prints, job):
    needed = begin(bench()[1]).needed
    events = [_event("printed", mark=mark) for mark, count in needed.items() for _ in range(count)]
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda event: _tell(prints, job, event), events))
    assert all(new for _, new in answers)
    assert sorted(event.number for event, _ in answers) == list(range(1, len(events) + 1))
    assert prints.status(job).state.done
    assert prints.status(job).state.printed == needed


def test_the_same_event_from_many_counts_once(prints, job):
    event = _event("printed", run=1, id="once")
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: _tell(prints, job, event), range(16)))
    assert sum(new for _, new in answers) == 1
    assert len({replace(stored, failed={}).id for stored, _ in answers}) == 1
    assert prints.status(job).revision == 1


def test_no_more_than_needed_whoever_is_first(prints, job):
    mark = "T1"
    needed = begin(bench()[1]).needed[mark]

    def tell(_):
        try:
            return _tell(prints, job, _event("printed", mark=mark))[1]
        except PrintRefused:
            return False

    with ThreadPoolExecutor(8) as pool:
        assert sum(pool.map(tell, range(needed + 5))) == needed
    assert prints.status(job).state.printed == {mark: needed}


_CHILD = """
import sys
from worker.printing.progress.print_state import PrintState
from worker.jobs.database.connection import open_database
from worker.jobs.records.print_events import PrintRecords
from worker.jobs.common.settings import Settings
from worker.spec.requests.print_event import PrintEvent

job, name, times, first = sys.argv[1], sys.argv[2], int(sys.argv[3]), PrintState.model_validate_json(sys.argv[4])
prints = PrintRecords(open_database(Settings.read().database))

def follow(before):
    before = before or first
    return before.model_copy(update={"failed": {"T1": before.failed.get("T1", 0) + 1}})

print("ready", flush=True)
sys.stdin.readline()
for number in range(times):
    prints.record(job, PrintEvent(outcome="failed", mark="T1", id=f"{name}.{number}"), follow)
"""


def test_processes_lose_no_event(settings, prints, job):
    first = begin(bench()[1]).model_dump_json()
    children = {
        name: subprocess.Popen(
            [sys.executable, "-c", _CHILD, job, name, "12", first],
            env=child_environment(settings),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for name in ("a", "b")
    }
    for child in children.values():
        assert child.stdout.readline() == "ready\n"
    for child in children.values():
        child.stdin.write("\n")
        child.stdin.flush()
    for child in children.values():
        with child:
            assert child.wait(timeout=120) == 0
    assert prints.status(job).state.failed == {"T1": 24}
    events = prints.events(job, 100)
    assert sorted(event.number for event in events) == list(range(1, 25))
    assert {event.id for event in events} == {f"{name}.{number}" for name in children for number in range(12)}


def test_new_runs_are_due_until_they_are_written(prints, job):
    def waiting(seconds):
        return prints.waiting(quiet_seconds=seconds, limit=10)

    _tell(prints, job, _event("printed", run=1))
    assert waiting(60.0) == []
    _tell(prints, job, _event("failed", run=2))
    assert waiting(60.0) == [job]
    prints.mark_enqueued([job])
    assert waiting(60.0) == []
    assert waiting(0.0) == [job]  # its message may be lost
    assert prints.attempt(job, 1) is None
    assert [prints.attempt(job, 2) for _ in range(2)] == [1, 2]
    _tell(prints, job, _event("failed", mark="T1"))
    assert not prints.written(job, 2)  # an event came in between
    assert waiting(0.0) == [job]
    assert prints.fail(job, 3, {"detail": "no"})
    assert (waiting(0.0), prints.attempt(job, 3)) == ([], None)
    last = prints.status(job).state.open[-1].number
    _tell(prints, job, _event("failed", run=last))  # a new run is a new try
    assert (prints.status(job).problem, waiting(60.0), prints.attempt(job, 4)) == (None, [job], 1)
    assert prints.written(job, 4)
    assert waiting(0.0) == []


def test_files_of_runs_are_kept_once(prints, records, job):
    file = StoredFile("run-11.3mf", "model/3mf", 5, "0" * 64, f"jobs/{job}/run-11.3mf")
    assert prints.keep(job, [file])
    assert prints.keep(job, [replace(file, key="elsewhere")])
    assert records.file(job, "run-11.3mf") == file


def test_a_job_that_is_removed_takes_its_history_along(prints, settings, blobs, job):
    _tell(prints, job, _event("failed", run=1))
    database = open_database(settings.database)
    try:
        deletion = JobDeletion(database, blobs)
        assert deletion.mark(job)
        assert prints.waiting(quiet_seconds=0.0, limit=10) == []
        assert not prints.keep(job, [StoredFile("run-11.3mf", "model/3mf", 5, "0" * 64, "x")])
        assert deletion.sweep(job) == 1
        assert prints.status(job) is None
        assert prints.events(job, 10) == []
        with pytest.raises(JobNotFound):
            _tell(prints, job, _event("printed", run=1))
        with database.begin() as connection:
            assert connection.execute(delete(JobRow)).rowcount == 0
    finally:
        database.dispose()


def test_runs_of_all_jobs_of_the_owner_are_the_history_of_printers(prints, records, job):
    def record(job_id, event, estimate=None):
        prints.record(job_id, event, lambda before: before or begin(bench()[1]), estimate=estimate)

    spec, _ = bench()
    other = records.add(spec.name, spec.model_dump_json()).id
    foreign = records.add(spec.name, spec.model_dump_json(), owner="somebody").id
    record(job, _event("printed", run=1, printer="left", seconds=5400), estimate=3600.0)
    record(job, _event("printed", run=2))
    record(job, _event("failed", run=3, printer="right"))
    record(job, _event("measured", clearance=0.25))
    record(other, _event("printed", run=2, printer="left", failed={"T1": 1}), estimate=3600.0)
    record(foreign, _event("failed", run=1, printer="left"))
    expected = [("left", False, 1.5), ("left", True, None), ("right", True, None)]
    history = [(run.printer, run.failed, run.ratio) for run in prints.recorded_runs(job)]
    assert sorted(history, key=str) == sorted(expected, key=str)
    assert prints.recorded_runs(other) == prints.recorded_runs(job)
    assert len(prints.recorded_runs(job, 2)) == 2
    record(job, _event("withdrawn", event=3))
    assert [run.printer for run in prints.recorded_runs(job)] == ["left", "left"]

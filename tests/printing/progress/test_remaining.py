from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.printing.progress.planned_manifest import BENCH, bench, manifest_of
from worker.printing.progress.remaining import PrintState, begin, follow, remaining_work, used_filament, withdraw
from worker.spec import load
from worker.spec.errors import PrintRefused
from worker.spec.manifest import PrinterEstimateEntry
from worker.spec.requests.print_event import PrintEvent


def _event(outcome, **fields):
    return PrintEvent(outcome=outcome, **fields)


def _after(state, *events):
    spec, manifest = bench()
    for event in events:
        state = follow(state, event, manifest, spec)
    return state


@pytest.fixture(scope="module")
def start():
    return begin(bench()[1])


def _pieces(runs):
    return Counter(piece.mark for run in runs for piece in run.pieces)


def _holds(state, start):
    """Say what holds after any events."""
    assert _pieces(state.open) + Counter(state.printed) == Counter(start.needed)
    numbers = [record.run.number for record in state.runs]
    assert numbers == list(range(1, state.next_run))
    for mark, needed in state.needed.items():
        printed, placed = state.printed.get(mark, 0), state.placed.get(mark, 0)
        assert 0 <= placed <= printed <= needed
        assert printed <= state.laid.get(mark, 0)
    needed = Counter((piece.mark, piece.drawer) for run in start.open for piece in run.pieces)
    assert Counter((piece.mark, piece.drawer) for run in state.open for piece in run.pieces) <= needed


def test_at_first_all_runs_are_to_be_printed(start):
    spec, manifest = bench()
    assert len(manifest.runs) >= 4
    assert start.open == manifest.runs
    assert start.needed == {part.mark: part.quantity for part in sorted(manifest.parts, key=lambda part: part.mark)}
    runs, work = remaining_work(start, manifest, spec)
    assert runs == manifest.runs
    assert work.model_copy(update={"least_runs": 0}) == manifest.work.model_copy(update={"least_runs": 0})
    assert 1 <= work.least_runs <= work.runs


def test_printing_every_run_ends_the_job(start):
    after = _after(start, *(_event("printed", run=run.number) for run in start.open))
    assert after.done
    assert after.open == ()
    assert after.next_run == start.next_run
    spec, manifest = bench()
    assert remaining_work(after, manifest, spec)[1].least_runs == 0
    used = used_filament(after, after.laid, manifest)
    assert sum(used.values()) == pytest.approx(10.0 * sum(start.needed.values()))
    assert set(used) == {("PETG", None), ("PLA", None)}


def test_a_failed_run_is_packed_afresh_under_a_new_number(start):
    last = start.open[-1]
    after = _after(start, _event("failed", run=last.number))
    assert after.find(last.number).state == "failed"
    assert after.open[:-1] == start.open[:-1]
    again = after.open[-1]
    assert again.number == start.next_run
    assert _pieces([again]) == _pieces([last])
    assert not after.find(again.number).planned
    assert again.file is None
    assert again.seconds == pytest.approx(last.seconds)


def test_failed_pieces_of_a_run_are_packed_together(start):
    run = start.open[-1]
    mark = run.pieces[0].mark
    after = _after(start, _event("printed", run=run.number, failed={mark: 1}))
    assert after.find(run.number).failed == {mark: 1}
    assert _pieces(after.open[-1:]) == Counter({mark: 1})
    other = start.open[-2]
    also = other.pieces[0].mark
    both = _after(after, _event("printed", run=other.number, failed={also: 1}))
    (again,) = [run for run in both.open if not both.find(run.number).planned]
    assert _pieces([again]) == Counter({mark: 1}) + Counter({also: 1})
    assert both.find(start.next_run).state == "replaced"


def test_a_run_that_was_replaced_may_be_printed_if_it_was_begun(start):
    last, other = start.open[-1], start.open[-2]
    failed = [_event("printed", run=run.number, failed={run.pieces[0].mark: 1}) for run in (last, other)]
    after = _after(start, *failed, _event("printed", run=start.next_run))
    _holds(after, start)
    assert _pieces(run for run in after.open if run.number >= start.next_run).total() == 1


def test_a_piece_printed_by_itself_leaves_its_run(start):
    run = next(run for run in start.open if len(run.pieces) > 1)
    mark = next(iter(start.needed))
    count = start.needed[mark]
    after = _after(start, _event("printed", mark=mark, count=count))
    assert mark not in _pieces(after.open)
    _holds(after, start)
    assert run  # others stay as they were planned
    untouched = [run for run in start.open if mark not in _pieces([run])]
    assert [run for run in after.open if run in untouched] == untouched


def test_a_placed_piece_is_printed(start):
    mark = "T1"
    after = _after(start, _event("placed", mark=mark))
    assert after.printed == after.placed == after.laid == {mark: 1}
    more = _after(after, _event("printed", mark=mark), _event("placed", mark=mark))
    assert (more.printed, more.placed, more.laid) == ({mark: 2}, {mark: 2}, {mark: 2})


def test_a_printed_run_can_be_placed_once(start):
    run = start.open[0].number
    after = _after(start, _event("printed", run=run), _event("placed", run=run))
    assert after.placed == after.printed
    with pytest.raises(PrintRefused, match="already placed"):
        _after(after, _event("placed", run=run))


def test_a_printed_piece_that_turns_out_bad_is_needed_again(start):
    run = start.open[-1]
    mark = run.pieces[0].mark
    after = _after(start, _event("placed", run=run.number), _event("failed", mark=mark))
    assert after.left == start.left - _pieces([run]) + Counter({mark: 1})
    assert after.laid == _pieces([run])
    assert after.failed == {mark: 1}


@pytest.mark.parametrize(
    ("events", "printed", "placed"),
    [
        ([("placed", 2), ("failed", 1)], 1, 1),
        ([("placed", 2), ("failed", 2)], 0, 0),
        ([("printed", 2), ("placed", 1), ("failed", 1)], 1, 1),  # the piece that is not placed goes first
    ],
)
def test_a_placed_piece_that_fails_is_placed_no_more(start, events, printed, placed):
    after = _after(start, *(_event(outcome, mark="T1", count=count) for outcome, count in events))

    assert (after.printed.get("T1", 0), after.placed.get("T1", 0)) == (printed, placed)
    _holds(after, start)


@pytest.mark.parametrize(
    ("pointer", "fields"),
    [
        ("/run", {"outcome": "printed", "run": 99}),
        ("/mark", {"outcome": "printed", "mark": "Z9"}),
        ("/count", {"outcome": "printed", "mark": "T1", "count": 1000}),
        ("/count", {"outcome": "placed", "mark": "T1", "count": 1000}),
        ("/count", {"outcome": "failed", "mark": "T1", "count": 1000}),
        ("/failed/Z9", {"outcome": "printed", "run": 1, "failed": {"Z9": 1}}),
    ],
)
def test_what_cannot_be_is_refused(start, pointer, fields):
    with pytest.raises(PrintRefused) as caught:
        _after(start, PrintEvent(**fields))
    assert caught.value.pointer == pointer
    assert caught.value.limit


def test_a_run_is_recorded_once(start):
    after = _after(start, _event("printed", run=1))
    for outcome in ("printed", "failed"):
        with pytest.raises(PrintRefused, match="already recorded"):
            _after(after, _event(outcome, run=1))


def test_a_run_that_would_give_too_many_is_refused(start):
    run = start.open[-1]
    mark = run.pieces[0].mark
    after = _after(start, _event("printed", mark=mark, count=start.needed[mark]))
    with pytest.raises(PrintRefused) as caught:
        _after(after, _event("printed", run=run.number))
    assert caught.value.part == mark
    assert caught.value.remedy


def test_without_estimates_runs_are_packed_all_the_same():
    spec, manifest = bench(timed=False)
    after = follow(begin(manifest), _event("failed", run=1), manifest, spec)
    runs, work = remaining_work(after, manifest, spec)
    # the coupon and its plug come first, however late they were packed
    assert [run.number for run in runs[:3]] == [2, len(manifest.runs) + 1, 3]
    assert (work.seconds, work.grams, work.cost) == (None, None, None)
    assert used_filament(after, after.laid, manifest) is None


def test_a_job_with_nothing_to_print_is_done():
    manifest = bench()[1].model_copy(update={"runs": ()})
    assert begin(manifest).done


_EVENTS = st.lists(
    st.tuples(
        st.sampled_from(["printed", "printed", "failed", "placed"]),
        st.booleans(),
        st.integers(0, 30),
        st.integers(1, 3),
        st.integers(0, 2),
    ),
    max_size=8,
)


def _drawn(state, drawn):
    """Make an event that may or may not be refused."""
    outcome, by_run, which, count, failed = drawn
    if by_run:
        run = state.runs[which % len(state.runs)].run
        bad = {run.pieces[which % len(run.pieces)].mark: 1} if failed and outcome != "failed" else {}
        return PrintEvent(outcome=outcome, run=run.number, failed=bad)
    mark = list(state.needed)[which % len(state.needed)]
    return PrintEvent(outcome=outcome, mark=mark, count=count)


@settings(max_examples=40)
@given(_EVENTS)
def test_after_any_events_each_piece_is_printed_or_in_a_run(events):
    spec, manifest = bench()
    start = begin(manifest)
    history = [start]
    for drawn in events:
        event = _drawn(history[-1], drawn)
        try:
            history.append(follow(history[-1], event, manifest, spec))
        except PrintRefused as refused:
            assert (refused.pointer, refused.limit) != (None, None)  # noqa: PT017 - it may be, then it says why
        _holds(history[-1], start)
    for before, after in pairwise(history):
        shapes = {record.run.number: record.run for record in before.runs}
        assert all(record.run == shapes[record.run.number] for record in after.runs if record.run.number in shapes)
        assert sum(after.laid.values()) >= sum(before.laid.values())
    # it survives the record
    assert PrintState.model_validate_json(history[-1].model_dump_json()) == history[-1]
    # and whatever is left can be printed to the end
    end = history[-1]
    for run in end.open:
        end = follow(end, _event("printed", run=run.number), manifest, spec)
    assert end.done
    assert end.printed == end.needed


def test_a_run_whose_record_is_withdrawn_is_open_again(start):
    spec, manifest = bench()
    after = _after(start, _event("printed", run=1), _event("failed", run=2))
    assert len(after.runs) > len(start.runs)

    without_failure = withdraw(after, {1: _event("printed", run=1)}, manifest, spec)

    assert [run.number for run in without_failure.open] == [run.number for run in start.open[1:]]
    assert without_failure.failed == {}
    assert without_failure.next_run == after.next_run  # a number always stands for the same pieces


def test_an_event_on_which_another_rests_is_withdrawn_after_it(start):
    spec, manifest = bench()
    events = {1: _event("failed", run=2), 2: _event("printed", run=start.next_run)}
    after = _after(start, *events.values())
    with pytest.raises(PrintRefused) as refused:
        withdraw(_after(after, _event("printed", run=1)), {2: events[2], 3: _event("printed", run=2)}, manifest, spec)
    assert refused.value.pointer == "/event"
    assert refused.value.remedy == "Withdraw event 3 first."


@settings(max_examples=25)
@given(_EVENTS, st.integers(0, 7))
def test_without_an_event_the_pieces_are_counted_as_if_it_had_not_been(events, which):
    spec, manifest = bench()
    start = state = begin(manifest)
    recorded = {}
    for drawn in events:
        event = _drawn(start, drawn)  # of planned runs, whose numbers stay the same whatever is withdrawn
        try:
            state = follow(state, event, manifest, spec)
        except PrintRefused:
            continue
        recorded[len(recorded) + 1] = event
    kept = {number: event for number, event in recorded.items() if number != which + 1}
    try:
        expected = _after(start, *kept.values())
    except PrintRefused:
        with pytest.raises(PrintRefused):
            withdraw(state, kept, manifest, spec)
        return
    after = withdraw(state, kept, manifest, spec)
    for field in ("printed", "placed", "failed", "laid", "clearance"):
        assert getattr(after, field) == getattr(expected, field)
    _holds(after, start)


def test_what_fails_is_printed_again_on_printers_that_it_fits():
    job = {name: value for name, value in BENCH.items() if name != "printer"}
    printers = [{"name": "small", "bed": [100, 100, 100]}, {"name": "large", "bed": [180, 180, 180]}]
    spec, manifest = manifest_of(load(job | {"printers": printers}).for_printer("large"))
    state = begin(manifest)
    for run in manifest.runs:
        state = follow(state, _event("failed", run=run.number), manifest, spec)
    runs, work = remaining_work(state, manifest, spec)
    assert _pieces(runs) == Counter(begin(manifest).needed)
    sizes = {part.mark: part.size for part in manifest.parts}
    large = {mark for mark, size in sizes.items() if max(size[:2]) > 99.0}
    assert large
    assert all(run.printers == ("large",) for run in runs for piece in run.pieces if piece.mark in large)
    assert {own.printers for own in work.printers} == {("small",), ("large",)}
    assert 0 < work.least_runs <= work.runs


def test_filament_is_counted_as_on_the_printer_that_took_it():
    job = {name: value for name, value in BENCH.items() if name != "printer"}
    printers = [{"name": "small", "bed": [100, 100, 100]}, {"name": "large", "bed": [180, 180, 180]}]
    spec, manifest = manifest_of(load(job | {"printers": printers}).for_printer("large"))
    parts = []
    for part in manifest.parts:  # 8 g instead of 10 on the small printer
        estimate = part.estimate.model_copy(update={"grams": 8.0})
        other = PrinterEstimateEntry(printers=("small",), estimate=estimate)
        parts.append(part.model_copy(update={"other_estimates": (other,)}))
    manifest = manifest.model_copy(update={"parts": tuple(parts)})
    state = begin(manifest)
    failed = next(run for run in manifest.runs if run.printers == ("small",))
    laid = Counter()
    for run in manifest.runs:
        outcome = "failed" if run is failed else "printed"
        state = follow(state, _event(outcome, run=run.number), manifest, spec)
        laid[run.printers] += len(run.pieces)
    assert laid["small",] > 0
    assert laid["large",] > 0
    used = used_filament(state, state.laid, manifest)
    assert sum(used.values()) == pytest.approx(8.0 * laid["small",] + 10.0 * laid["large",])
    lost = used_filament(state, state.failed, manifest, failed=True)
    assert sum(lost.values()) == pytest.approx(8.0 * len(failed.pieces))

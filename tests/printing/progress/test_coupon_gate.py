"""The coupon's gate, and the spec that makes parts anew."""

import pytest

from tests.printing.progress.planned_manifest import BENCH, bench, manifest_of
from worker.layout.planner import lay_out
from worker.printing.print_order import Stage, stage_of_run
from worker.printing.progress.coupon_gate import gate_of, refit_needed, refit_spec
from worker.printing.progress.print_state import PrintState
from worker.printing.progress.remaining import begin, follow
from worker.printing.scheduling.timetable import make_timetable
from worker.spec import load
from worker.spec.errors import PrintRefused
from worker.spec.requests.print_event import PrintEvent


@pytest.fixture(scope="module")
def gated():
    """Return the spec and manifest of a job that waits for its coupon."""
    return manifest_of(load({**BENCH, "schedule": {"start": "2026-03-02T08:00"}}))


def _after(job, *events):
    spec, manifest = job
    state = begin(manifest)
    for event in events:
        state = follow(state, PrintEvent(**event), manifest, spec)
    return state


def _tests(manifest):
    return [run.number for run in manifest.runs if stage_of_run(run) is Stage.TEST_PRINTS]


def _scheduled(job, state):
    spec, manifest = job
    materials = tuple(dict.fromkeys(spec.material_of(part.kind) for part in manifest.parts))
    gate = gate_of(spec, manifest.runs, state)
    start = spec.schedule.start.replace(tzinfo=spec.schedule.zone)
    return make_timetable(spec.calendar, state.open, materials, start, gate=gate)


def test_nothing_but_the_coupon_is_scheduled_until_it_is_read(gated):
    manifest = gated[1]
    table = _scheduled(gated, begin(manifest))
    assert [step.run for step in table.steps] == _tests(manifest)
    assert {entry.run for entry in table.waiting} == {run.number for run in manifest.runs} - set(_tests(manifest))
    assert "waits for the coupon" in table.waiting[0].reason
    printed = _after(gated, *({"outcome": "printed", "run": number} for number in _tests(manifest)))
    assert _scheduled(gated, printed).steps == ()
    read = follow(printed, PrintEvent(outcome="measured", clearance=gated[0].grid.clearance), manifest, gated[0])
    assert read.clearance == gated[0].grid.clearance
    assert {step.run for step in _scheduled(gated, read).steps} == {run.number for run in read.open}
    assert not refit_needed(gated[0], read)


def test_a_job_without_a_schedule_waits_for_nothing(gated):
    spec, manifest = gated
    assert gate_of(spec, manifest.runs, None)
    assert not gate_of(spec.model_copy(update={"schedule": None}), manifest.runs, None)


def test_the_gate_can_be_waived():
    spec, manifest = bench()
    assert not spec.schedule.wait_for_coupon
    assert gate_of(spec, manifest.runs, None) == {}


def test_another_clearance_makes_the_parts_anew(gated):
    spec, manifest = gated
    first, *others = _tests(manifest)
    events = [{"outcome": "printed", "run": first, "clearance": 0.2}]
    state = _after(gated, *events, *({"outcome": "printed", "run": number} for number in others))
    assert refit_needed(spec, state)
    table = _scheduled(gated, state)
    assert table.steps == ()
    assert "clearance of 0.3 mm, and the coupon shows 0.2 mm" in table.waiting[0].reason
    again = refit_spec(spec, state)
    assert (again.grid.clearance, again.grid.joint, again.coupon) == (0.2, None, False)
    parts = {part.mark for part in lay_out(again).parts}
    assert parts == {part.mark for part in manifest.parts if part.kind not in {"coupon", "plug"}}


def test_printed_tiles_keep_their_sockets_and_new_trays_get_other_feet(gated):
    spec, manifest = gated
    tile = next(part for part in manifest.parts if part.kind == "tile")
    events = [{"outcome": "printed", "run": number} for number in _tests(manifest)]
    state = _after(gated, *events, {"outcome": "printed", "mark": tile.mark}, {"outcome": "measured", "clearance": 0.2})
    again = refit_spec(spec, state)
    before, after = ({part.mark: part.shape for part in lay_out(each).parts} for each in (spec, again))
    assert after[tile.mark] == before[tile.mark]
    assert after["T1"] != before["T1"]


@pytest.mark.parametrize(
    ("event", "pointer"),
    [
        ({"outcome": "measured", "clearance": 0.25}, "/clearance"),  # the coupon is not printed yet
        ({"outcome": "printed", "mark": "T1", "clearance": 0.25}, "/clearance"),
    ],
)
def test_a_reading_belongs_to_a_printed_coupon(gated, event, pointer):
    with pytest.raises(PrintRefused) as caught:
        _after(gated, event)
    assert caught.value.pointer == pointer
    assert caught.value.remedy


def test_without_a_reading_there_is_no_refit(gated):
    with pytest.raises(ValueError, match="No clearance"):
        refit_spec(gated[0], begin(gated[1]))


@pytest.fixture(scope="module")
def two_kinds():
    """Return the spec and manifest of a job on two printers with a coupon each."""
    printers = [{"name": "fine", "bed": [180, 180, 180]}, {"name": "small", "bed": [120, 120, 120]}]
    job = {name: value for name, value in BENCH.items() if name != "printer"}
    spec, manifest = manifest_of(load({**job, "printers": printers, "schedule": {"start": "2026-03-02T08:00"}}))
    coupons = [run for run in manifest.runs if stage_of_run(run) is Stage.TEST_PRINTS]
    if {run.printers for run in coupons} == {("fine",)}:  # the manifest is made without the choice of printers
        own = [run.model_copy(update={"printers": ("small",), "number": 90 + run.number}) for run in coupons]
        manifest = manifest.model_copy(update={"runs": (*manifest.runs, *own)})
    return spec, manifest


def _read(job, *events):
    """Return the state after all coupons are printed, and these events."""
    return _after(job, *({"outcome": "printed", "run": number} for number in _tests(job[1])), *events)


def test_each_kind_of_printer_waits_for_its_own_coupon(two_kinds):
    spec, manifest = two_kinds
    assert set(gate_of(spec, manifest.runs, None)) == {("fine",), ("small",)}
    state = _read(two_kinds, {"outcome": "measured", "clearance": spec.grid.clearance, "printer": "fine"})
    assert state.reading(("fine",)) == spec.grid.clearance
    assert state.reading(("small",)) is None
    assert set(gate_of(spec, manifest.runs, state)) == {("small",)}
    table = _scheduled(two_kinds, state)
    printers = {run.number: run.printers for run in state.open}
    assert {printers[entry.run] for entry in table.waiting} <= {("small",)}
    assert {printers[step.run] for step in table.steps} == {("fine",)}
    both = follow(state, PrintEvent(outcome="measured", clearance=spec.grid.clearance, printer="small"), manifest, spec)
    assert gate_of(spec, manifest.runs, both) == {}


@pytest.mark.parametrize(
    ("stored", "clearances"),
    [
        ({"clearance": 0.35}, {"": 0.35}),  # one reading for the whole job
        ({"clearance": 0.35, "clearances": {"fine": 0.3, "small": 0.35}}, {"fine": 0.3, "small": 0.35}),
        ({"clearance": None, "clearances": {}}, {}),
    ],
)
def test_old_records_are_read(gated, stored, clearances):
    state = begin(gated[1])
    old = PrintState.model_validate({**state.model_dump(mode="json", exclude={"clearances"}), **stored})
    assert old.clearances == clearances
    assert old.clearance == max(clearances.values(), default=None)
    for printers in ((), ("fine",), ("small",)):
        name = printers[0] if printers else ""
        assert old.reading(printers) == clearances.get(name, clearances.get(""))
    assert PrintState.model_validate_json(old.model_dump_json()) == old


def test_a_reading_that_differs_on_one_printer_makes_all_parts_anew_with_the_greatest(two_kinds):
    spec, manifest = two_kinds
    state = _read(
        two_kinds,
        {"outcome": "measured", "clearance": spec.grid.clearance, "printer": "fine"},
        {"outcome": "measured", "clearance": spec.grid.clearance + 0.1, "printer": "small"},
    )
    assert refit_needed(spec, state)
    assert set(gate_of(spec, manifest.runs, state)) == {("fine",), ("small",)}
    assert refit_spec(spec, state).grid.clearance == pytest.approx(spec.grid.clearance + 0.1)


def test_a_reading_says_on_which_of_unlike_printers(two_kinds):
    for printer in (None, "nobody's"):
        with pytest.raises(PrintRefused) as caught:
            _read(two_kinds, {"outcome": "measured", "clearance": 0.3, "printer": printer})
        assert caught.value.pointer == "/printer"
        assert "fine" in caught.value.limit
        assert caught.value.remedy


def test_a_coupon_is_read_only_where_it_is_printed(two_kinds):
    spec, manifest = two_kinds
    printed = _after(
        two_kinds,
        *(
            {"outcome": "printed", "run": run.number}
            for run in manifest.runs
            if run.printers == ("fine",) and run.number in _tests(manifest)
        ),
    )
    event = PrintEvent(outcome="measured", clearance=spec.grid.clearance, printer="fine")
    assert follow(printed, event, manifest, spec).reading(("fine",)) == spec.grid.clearance
    with pytest.raises(PrintRefused, match="not printed yet"):
        follow(printed, event.model_copy(update={"printer": "small"}), manifest, spec)

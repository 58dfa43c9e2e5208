"""The printer that parts are made for: the one with which all is printed soonest."""

from hypothesis import given
from hypothesis import strategies as st

from worker.layout.planner import lay_out
from worker.printing.estimating.part_estimates import price_new_parts
from worker.printing.printer_choice import _is_better, lay_out_for_printers
from worker.printing.runs.printer_shares import nominal_finish
from worker.printing.runs.work_plan import runs_of
from worker.spec import load

_SMALL = {"name": "small", "bed": [100, 100, 100]}
_LARGE = {"name": "large", "bed": [180, 180, 180]}


def _job(*printers, **fields):
    drawer = {"name": "d", "width": 170, "depth": 90, "height": 40}
    return load(
        {"spec": "1", "name": "bench", "coupon": False, "drawers": [drawer], "printers": list(printers)} | fields
    )


def _finish(spec, name):
    own = spec.for_printer(name)
    plan = lay_out(own)
    return nominal_finish(own, runs_of(own, plan, price_new_parts(own, plan))[0])[1]


def test_one_large_printer_and_many_small_ones_cut_for_the_small():
    many = [_SMALL | {"name": f"small {number}"} for number in range(4)]
    spec = _job(_LARGE, *many)
    assert _finish(spec, "small 0") < _finish(spec, "large")
    plan = lay_out_for_printers(spec)
    assert plan.made_for == "small 0"
    assert all(max(part.size[:2]) <= 99.0 for part in plan.parts)


def test_where_the_large_printer_is_free_at_once_it_prints_the_part_whole():
    schedule = {"printers": [{"name": "small", "printing": [{"days": ["sun"], "start": "08:00", "end": "12:00"}]}]}
    plan = lay_out_for_printers(_job(_LARGE, _SMALL, schedule=schedule))
    assert plan.made_for == "large"
    assert [part.quantity for part in plan.parts if part.kind == "tile"] == [1]


def test_a_job_of_one_printer_is_made_for_it():
    assert lay_out_for_printers(_job(_SMALL)).made_for == "small"
    spec = load(
        {"spec": "1", "name": "bench", "drawers": [{"name": "d", "width": 90, "depth": 90, "height": 40}], "printer": {
            "bed": [180, 180, 180]}}
    )  # fmt: skip
    assert lay_out_for_printers(spec) == lay_out(spec)
    assert lay_out(spec).made_for is None


def test_a_printer_that_may_not_print_the_material_is_no_use_for_a_large_bed():
    plan = lay_out_for_printers(_job(_LARGE | {"materials": ["TPU"]}, _SMALL))
    assert plan.made_for == "small"


def test_each_kind_of_printer_that_prints_parts_prints_a_coupon():
    larger, small = {"name": "larger", "bed": [300, 300, 300]}, _LARGE | {"name": "small"}
    spec = _job(larger, small, small | {"name": "small too"}, coupon=True)
    plan = lay_out_for_printers(spec)
    tests = {part.kind: part.quantity for part in plan.parts if part.kind in {"coupon", "plug"}}
    assert tests == {"coupon": 2, "plug": 2}  # the small ones are alike
    own = spec.for_printer(plan.made_for)
    runs, _ = runs_of(own, plan, price_new_parts(own, plan))
    marks = [part.mark for part in plan.parts if part.kind in {"coupon", "plug"}]
    printed = [(piece.mark, run.printers) for run in runs for piece in run.pieces if piece.mark in marks]
    assert sorted(printed) == [(mark, names) for mark in marks for names in (("larger",), ("small", "small too"))]


def test_a_printer_that_prints_no_part_prints_no_coupon():
    other = {"name": "other", "bed": [180, 180, 180], "materials": ["TPU"]}
    plan = lay_out_for_printers(_job(_LARGE, other, coupon=True))
    assert {part.quantity for part in plan.parts if part.kind in {"coupon", "plug"}} == {1}


@given(
    *(
        st.tuples(
            *(st.integers(0, 3), st.integers(0, 3), st.integers(1, 10), st.integers(0, 9)),
        ),
    )
    * 2
)
def test_a_cut_is_better_in_one_direction_only(value, best):
    """What comes first decides: a lower first figure is better whatever follows, then a lower second one."""
    assert not (_is_better(value, best) and _is_better(best, value))
    assert not _is_better(value, value)
    if value[:2] != best[:2]:
        assert _is_better(value, best) == (value[:2] < best[:2])

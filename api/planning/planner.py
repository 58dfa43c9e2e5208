"""The planner: makes the plan of a spec, in this process or in one that makes plan after plan.

The process reads specs (``S``) from standard input and writes answers to standard output, each as a frame of
`worker.jobs.execution.frames`.
"""

import sys
import traceback
from collections import OrderedDict
from collections.abc import Container
from typing import Final, TypeAlias

import orjson

from worker.jobs.execution.frames import answer_frames
from worker.layout.model.plan import Plan
from worker.layout.model.plan_document import plan_document
from worker.printing.part_printers import made_as
from worker.printing.printer_choice import lay_out_for_printers
from worker.printing.printer_estimates import price_on_others
from worker.printing.runs.work_plan import runs_of
from worker.spec import Spec
from worker.spec.errors import DrawerwrightError
from worker.spec.manifest import EstimateEntry, PlanDocument

__all__ = ["make_plan"]


#: What an estimate depends on: the spec without drawers and items, the printer, the part's fingerprint, kind and mark.
_Key: TypeAlias = tuple[str, str, str, str, str]

#: Estimates that a planner remembers: a plan after a small change prices only what is new. A plan of 28 things in 14
#: trays takes 0.9 s the first time and 0.35 s with them.
_MOST_ESTIMATES: Final = 4000

#: Fields of a spec that change no estimate of a part with given shape and mark.
_UNPRICED: Final = {"printer", "name", "drawers", "items", "layout", "strict", "previous", "schedule", "coupon"}

_estimates_by_key: "OrderedDict[_Key, EstimateEntry]" = OrderedDict()


def make_plan(spec: Spec) -> PlanDocument:
    """Return the plan of a spec: its layout, and its packed runs with times and filament.

    Raises:
        LayoutError: when it cannot be laid out.
    """
    plan = lay_out_for_printers(spec, price=_estimates)
    spec = made_as(spec, plan)
    own = _estimates(spec, plan)
    others = price_on_others(spec, plan.parts, own, lambda other, marks: _estimates(other, plan, marks))
    runs, work = runs_of(spec, plan, own, others=others)
    return plan_document(plan).model_copy(update={"runs": runs, "work": work})


def _estimates(spec: Spec, plan: Plan, marks: Container[str] | None = None) -> dict[str, EstimateEntry]:
    """Return the estimates of the parts to print, or those of these marks; builds meshes that are not remembered."""
    from worker.printing.estimating.part_estimates import price_new_parts  # noqa: PLC0415 - the geometry kernel

    settings = spec.model_dump_json(exclude=_UNPRICED)
    printers = {kind: spec.printer_of(kind).model_dump_json() for kind in {part.kind for part in plan.parts}}
    keys = {
        part.mark: (settings, printers[part.kind], part.bare, part.kind, part.mark)
        for part in plan.parts
        if part.bare is not None
    }
    estimates = {mark: _estimates_by_key[key] for mark, key in keys.items() if key in _estimates_by_key}
    left_out = {part.mark for part in plan.parts if marks is not None and part.mark not in marks}
    for mark, estimate in price_new_parts(spec, plan, without={*estimates, *left_out}).items():
        estimates[mark] = estimate
        if mark in keys:
            _estimates_by_key[keys[mark]] = estimate
    while len(_estimates_by_key) > _MOST_ESTIMATES:
        _estimates_by_key.popitem(last=False)
    return estimates


def answer(spec: bytes) -> tuple[bytes, bytes]:
    """Return the answer to a spec that was validated before: its kind, and its content.

    ``P``: the plan document. ``E``: an error that the caller can cause, with its slug. ``M``: the memory does not
    suffice. ``X``: a traceback.
    """
    try:
        plan = make_plan(Spec.model_validate_json(spec))
        return b"P", plan.model_dump_json(by_alias=True).encode()
    except DrawerwrightError as error:
        errors = [single.fields() for single in error.errors]
        return b"E", orjson.dumps({"slug": error.slug, **error.fields(), "errors": errors})
    except MemoryError:
        return b"M", b""
    except Exception:  # noqa: BLE001 - the parent logs it
        return b"X", traceback.format_exc().encode(errors="backslashreplace")


def main(memory: int) -> None:
    """Answer specs until standard input closes; ``memory`` is the limit of this process in bytes, 0 for none."""
    answer_frames(memory, lambda _, spec: answer(spec))


if __name__ == "__main__":
    main(int(sys.argv[1]))

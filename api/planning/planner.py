"""The planner: makes the plan of a spec, in this process or in one that makes plan after plan.

The process reads specs from standard input, ``S``, or ``T`` for a timed plan, and writes answers to standard output,
each as a frame of `worker.jobs.execution.frames`.
"""

import sys
import traceback

import orjson

from worker.jobs.execution.frames import answer_frames
from worker.layout.model.plan import Plan
from worker.layout.model.plan_document import plan_document
from worker.layout.planner import lay_out
from worker.printing.scheduling.work_plan import runs_of
from worker.spec import Spec
from worker.spec.errors import DrawerwrightError
from worker.spec.manifest import EstimateEntry, PlanDocument

__all__ = ["make_plan"]


def make_plan(spec: Spec, *, timed: bool = False) -> PlanDocument:
    """Return the plan of a spec: its layout and its packed runs.

    Runs have times and filament only if ``timed``: the meshes of the parts to print are built for that.

    Raises:
        LayoutError: when it cannot be laid out.
    """
    plan = lay_out(spec)
    runs, work = runs_of(spec, plan, _estimates(spec, plan) if timed else None)
    return plan_document(plan).model_copy(update={"runs": runs, "work": work})


def _estimates(spec: Spec, plan: Plan) -> dict[str, EstimateEntry]:
    from worker.printing.estimating.part_estimates import price_new_parts  # noqa: PLC0415 - the geometry kernel

    return price_new_parts(spec, plan)


def answer(spec: bytes, *, timed: bool = False) -> tuple[bytes, bytes]:
    """Return the answer to a spec that was validated before: its kind, and its content.

    ``P``: the plan document. ``E``: an error that the caller can cause, with its slug. ``M``: the memory does not
    suffice. ``X``: a traceback.
    """
    try:
        plan = make_plan(Spec.model_validate_json(spec), timed=timed)
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
    answer_frames(memory, lambda kind, spec: answer(spec, timed=kind == b"T"))


if __name__ == "__main__":
    main(int(sys.argv[1]))

"""The planner: makes the plan of a spec, here or as a process that makes one plan after another.

The process reads specs from standard input and writes answers to standard output, each as one frame: a byte for its
kind, four for the length of its content (big-endian), and the content. It ends when standard input closes, also in the
middle of a plan: that its parent has ended must not leave it computing.
"""

import os
import queue
import struct
import sys
import traceback
from threading import Thread
from typing import BinaryIO, Final

import orjson

from worker.jobs.execution.memory_limit import limit_memory
from worker.layout import lay_out
from worker.layout.model.plan_document import plan_document
from worker.printing.scheduling.work_plan import runs_of
from worker.spec import Spec
from worker.spec.errors import DrawerwrightError
from worker.spec.manifest import PlanDocument

__all__ = ["make_plan"]

#: The header of a frame.
_HEADER: Final = struct.Struct(">cI")


def make_plan(spec: Spec) -> PlanDocument:
    """Return the plan of a spec: its layout and its packed runs, which have no times because no mesh is made.

    Raises:
        LayoutError: when it cannot be laid out.
    """
    plan = lay_out(spec)
    runs, work = runs_of(spec, plan, None)
    return plan_document(plan).model_copy(update={"runs": runs, "work": work})


def make_timed_plan(spec: Spec) -> PlanDocument:
    """Return the plan of a spec with the times and filament of its runs; builds the meshes of the parts to print.

    Raises:
        LayoutError: when it cannot be laid out.
    """
    from worker.printing.estimating.part_estimates import price_new_parts  # noqa: PLC0415 - the geometry kernel

    plan = lay_out(spec)
    runs, work = runs_of(spec, plan, price_new_parts(spec, plan))
    return plan_document(plan).model_copy(update={"runs": runs, "work": work})


def answer(spec: bytes, *, timed: bool = False) -> tuple[bytes, bytes]:
    """Return the answer to a spec that was validated before: its kind, and its content.

    ``P``: the plan document. ``E``: an error that the caller can cause, with its slug. ``M``: the memory does not
    suffice. ``X``: a traceback.
    """
    make = make_timed_plan if timed else make_plan
    try:
        return b"P", make(Spec.model_validate_json(spec)).model_dump_json(by_alias=True).encode()
    except DrawerwrightError as error:
        errors = [single.fields() for single in error.errors]
        return b"E", orjson.dumps({"slug": error.slug, **error.fields(), "errors": errors})
    except MemoryError:
        return b"M", b""
    except Exception:  # noqa: BLE001 - the parent logs it
        return b"X", traceback.format_exc().encode(errors="backslashreplace")


def main(memory: int) -> None:
    """Answer specs until standard input closes; ``memory`` is the limit of this process in bytes, 0 for none."""
    limit_memory(memory)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints must not come between two frames
    _write(answers, b"R", b"")
    specs: queue.SimpleQueue[tuple[bytes, bytes]] = queue.SimpleQueue()
    Thread(target=_read_specs, args=(sys.stdin.buffer, specs), daemon=True).start()
    while True:
        kind, spec = specs.get()
        _write(answers, *answer(spec, timed=kind == b"T"))


def _read_specs(stream: BinaryIO, specs: "queue.SimpleQueue[tuple[bytes, bytes]]") -> None:
    """Put each spec into the queue, with its kind: ``S``, or ``T`` for a timed plan.

    The process ends when the stream has ended.
    """
    while len(header := stream.read(_HEADER.size)) == _HEADER.size:
        kind, length = _HEADER.unpack(header)
        specs.put((kind, stream.read(length)))
    os._exit(0)


def _write(stream: BinaryIO, kind: bytes, content: bytes) -> None:
    stream.write(_HEADER.pack(kind, len(content)) + content)
    stream.flush()


if __name__ == "__main__":
    main(int(sys.argv[1]))

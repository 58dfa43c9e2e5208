"""Rules of the names of a job's drawers."""

from typing import TYPE_CHECKING

from worker.spec.errors import SpecError
from worker.spec.primitives.pydantic_errors import Refusals

if TYPE_CHECKING:
    from worker.spec.job import Spec

__all__ = ["check_names"]


def check_names(spec: "Spec", refusals: Refusals) -> None:
    """Check that no two drawers have one name, and that none of the household is listed twice."""
    seen: set[str] = set()
    for index, drawer in enumerate(spec.drawers):
        if drawer.name in seen:
            error = SpecError(
                "Two drawers have the same name.",
                value=drawer.name, limit="unique in the job", remedy="Rename one of them, or use `copies`.",
            )  # fmt: skip
            refusals.add(error, "drawers", index, "name")
        seen.add(drawer.name)
    ids = [drawer.id for drawer in spec.drawers]
    for index, drawer in enumerate(spec.drawers):
        if drawer.id is not None and drawer.id in ids[:index]:
            error = SpecError(
                "A drawer of the household is named twice.",
                value=drawer.id, limit="each drawer once", remedy="Remove one of them.",
            )  # fmt: skip
            refusals.add(error, "drawers", index, "id")

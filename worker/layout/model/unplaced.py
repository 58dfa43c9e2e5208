"""Things without a place: named in the plan, or a refusal when the job is strict."""

from collections.abc import Sequence

from worker.layout.model.plan import Unplaced
from worker.spec import Spec
from worker.spec.errors import LayoutError

__all__ = ["settle_unplaced"]


def settle_unplaced(spec: Spec, unplaced: Sequence[Unplaced]) -> tuple[Unplaced, ...]:
    """Return the things without a place, for the plan.

    Raises:
        LayoutError: when there are any and the spec is strict; one error for each, with the pointer of its item.
    """
    if not spec.strict or not unplaced:
        return tuple(unplaced)
    errors = [_refused(entry) for entry in unplaced]
    if len(errors) == 1:
        raise errors[0]
    raise LayoutError(f"{len(errors)} items find no place.", errors=errors)


def _refused(entry: Unplaced) -> LayoutError:
    where = "the drawers" if entry.drawer is None else f"drawer {entry.drawer!r}"
    things = f"{entry.count} of item {entry.item!r} find" if entry.count > 1 else f"Item {entry.item!r} finds"
    return LayoutError(
        f"{things} no place in {where}: {entry.reason}",
        pointer=entry.pointer,
        value=entry.count,
        limit="a place for each, as the job is strict",
        remedy=entry.remedy or "Set strict to false to go without it.",
    )

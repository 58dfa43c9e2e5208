"""Items that could not be placed: listed in the plan, or an error if the job is strict."""

from collections.abc import Sequence

from worker.layout.model.plan import Unplaced
from worker.spec import Spec
from worker.spec.errors import LayoutError

__all__ = ["settle_unplaced"]


def settle_unplaced(spec: Spec, unplaced: Sequence[Unplaced]) -> tuple[Unplaced, ...]:
    """Return the items that could not be placed, for the plan.

    Raises:
        LayoutError: if there are any and the spec is strict; it holds one error for each, with the item's pointer.
    """
    if not spec.strict or not unplaced:
        return tuple(unplaced)
    errors = [_refused(entry) for entry in unplaced]
    if len(errors) == 1:
        raise errors[0]
    raise LayoutError(f"{len(errors)} items cannot be placed.", errors=errors)


def _refused(entry: Unplaced) -> LayoutError:
    where = "the drawers" if entry.drawer is None else f"drawer {entry.drawer!r}"
    things = f"{entry.count} of item {entry.item!r}" if entry.count > 1 else f"Item {entry.item!r}"
    return LayoutError(
        f"{things} cannot be placed in {where}. {entry.reason}",
        pointer=entry.pointer,
        value=entry.count,
        limit="every item placed, as the job is strict",
        remedy=entry.remedy or "Set strict to false to leave it out.",
    )

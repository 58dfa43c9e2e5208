"""A list of items: its names tell them apart."""

from typing import Annotated, Final, TypeAlias

from pydantic import AfterValidator, Field

from worker.spec.errors import SpecError
from worker.spec.items.item import Item
from worker.spec.primitives.pydantic_errors import Refusals

__all__ = ["Items"]

_MOST: Final = 300


def _told_apart(items: tuple[Item, ...]) -> tuple[Item, ...]:
    refusals = Refusals()
    names: set[str] = set()
    for index, item in enumerate(items):
        if item.name in names:
            remedy = "Give each its own name, or one a larger count."
            refusals.add(SpecError("Two items have the same name.", value=item.name, remedy=remedy), index, "name")
        names.add(item.name)
    for index, item in enumerate(items):
        if item.near is not None and item.near not in names:
            error = SpecError("There is no item of this name in the list.", value=item.near, limit="a name of the list")
            refusals.add(error, index, "near")
    refusals.settle()
    return items


Items: TypeAlias = Annotated[tuple[Item, ...], Field(max_length=_MOST), AfterValidator(_told_apart)]

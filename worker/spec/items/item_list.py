"""A list of items with unique names."""

from typing import Annotated, Final, TypeAlias

from pydantic import AfterValidator, Field

from worker.spec.errors import SpecError
from worker.spec.items.item import Item
from worker.spec.primitives.pydantic_errors import Refusals

__all__ = ["Items"]

_MOST: Final = 300


def _unique_names(items: tuple[Item, ...]) -> tuple[Item, ...]:
    refusals = Refusals()
    names: set[str] = set()
    for index, item in enumerate(items):
        if item.name in names:
            error = SpecError(
                "Two items have the same name.",
                value=item.name, limit="unique in the list", remedy="Rename one, or add up their counts.",
            )  # fmt: skip
            refusals.add(error, index, "name")
        names.add(item.name)
    for index, item in enumerate(items):
        if item.near is not None and item.near not in names:
            error = SpecError(
                "The list has no item with this name.",
                value=item.near, limit="the name of an item in the same list", remedy="Correct the name.",
            )  # fmt: skip
            refusals.add(error, index, "near")
    refusals.settle()
    return items


Items: TypeAlias = Annotated[tuple[Item, ...], Field(max_length=_MOST), AfterValidator(_unique_names)]

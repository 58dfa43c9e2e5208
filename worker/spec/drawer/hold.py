"""The hold: things of one item that a tray of the list holds, in one of its compartments."""

from typing import Annotated, Final, TypeAlias

from pydantic import Field

from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, Name

__all__ = ["MOST_BESIDE", "MOST_HOLDS", "Hold"]

#: Most entries in the `hold` of one tray.
MOST_HOLDS: Final = 100

#: Most kinds of things in one compartment.
MOST_BESIDE: Final = 12

_Index: TypeAlias = Annotated[Count, Field(ge=0, le=40)]


class Hold(Noun):
    """Things of one item that a tray holds, in one compartment."""

    item: Name = Field(description="Name of an item of the drawer; else of the job.")
    count: Annotated[Count, Field(ge=1, le=10_000)] | None = Field(
        default=None, description="Number of things; null for all that no other tray holds."
    )
    compartment: tuple[_Index, _Index] = Field(
        default=(0, 0),
        description="Column from the left and row from the front, counted from 0, as if every divider were of full "
        "length; any of them names a compartment that takes several.",
    )

"""Printability figures of a part in the manifest."""

from typing import Annotated, Final, Literal, TypeAlias, get_args

from pydantic import Field

from worker.spec.manifest.fields import OutputModel

Figure: TypeAlias = Annotated[float, Field(ge=0, allow_inf_nan=False)]
PrintabilityName: TypeAlias = Literal[
    "overhang", "bridge", "free_edge", "roof", "island", "wall", "gap", "contact", "slenderness", "text"
]
PrintabilityUnit: TypeAlias = Literal["mm", "mm2", "degrees", "count", "ratio"]

PRINTABILITY_NAMES: Final[tuple[PrintabilityName, ...]] = get_args(PrintabilityName)


class PrintabilityEntry(OutputModel):
    """One printability figure of a part, measured on its STL file as read back."""

    name: PrintabilityName
    """`overhang`: the steepest sloping underside, from the vertical. `bridge`: the widest span of a level underside
    that is open at a side. `free_edge`: the longest edge of an underside with nothing below it. `roof`: the widest span
    of an underside that is closed all round, as over a magnet hole. `island`: places that start in mid-air. `wall`: the
    thinnest wall. `gap`: the narrowest gap. `contact`: the area of the first layer. `slenderness`: height over the
    narrower side of the first layer. `text`: the part of the text's area that lines of this width can fill."""
    value: Figure | None
    """The figure as measured; null where the part has no such place, or a wall or gap is far wider than the limit."""
    unit: PrintabilityUnit
    limit: Figure
    bound: Literal["at_most", "at_least"]
    """Whether the limit is the most or the least."""
    area: Figure | None = None
    """The area of all overhangs that pass the limit, in mm2; null for every other figure."""
    at: tuple[float, float, float] | None = None
    """Where the figure was measured, in the part's own frame; null where it belongs to no single place."""
    caution: str | None = None
    """What may go wrong and what to do about it; null within the limit."""

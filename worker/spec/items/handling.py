"""Handling of an item: the pose in which it is kept, and how far soft things give way."""

from typing import Annotated, Final, Literal, TypeAlias

from pydantic import Field

from worker.spec.errors import SpecError
from worker.spec.items.shape import Cylinder, PlainShape, Prism, Screw
from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Number
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = [
    "MOST_NESTED",
    "AskedPose",
    "NestingStep",
    "Soft",
    "check_engraving",
    "check_nesting",
    "check_softness",
    "pile_height",
]

#: as_given: as the shape describes it. flat: as low as it can lie. on_edge: on its long narrow side. upright: on end.
AskedPose: TypeAlias = Literal["as_given", "flat", "on_edge", "upright", "any"]

#: What one more nested thing adds to a pile.
NestingStep: TypeAlias = Annotated[float, LengthBounds(0.1, 500.0)]

#: The share of a compartment that soft things fill when nothing is given (own choice: folded socks leave few gaps).
_FILL: Final = 0.8


#: Most things whose outlines the layout nests in one tray: more take long to search.
MOST_NESTED: Final = 12


class Soft(Noun):
    """How far soft things, such as socks or cloths, give way."""

    fill: Annotated[Number, Field(ge=0.2, le=1.0)] = Field(
        default=_FILL, description="Share of their room that they fill when they lie in a heap."
    )
    height: Annotated[float, LengthBounds(0.5, 500.0)] | None = Field(
        default=None,
        description="Height of a single one, folded and pressed down in a pile; null: it is not pressed. Only for "
        "boxes and polygons.",
    )


def pile_height(shape: PlainShape) -> float:
    """Return the side along which things of a shape are piled, in mm: the height, of a cylinder the length."""
    match shape:
        case Cylinder(length=length):
            return length
        case Screw():
            return shape.head_height + (shape.length or 0.0)
        case Prism(height=height):
            return height
        case _:
            return shape.size[2]


def check_nesting(shape: PlainShape, nest: float, refusals: Refusals) -> None:
    """Add an error where things of a shape cannot nest with this step."""
    high = pile_height(shape)
    if nest >= high - LENGTH_EPSILON:
        error = SpecError(
            "The nesting step is no smaller than the thing.",
            value=nest, limit=f"under {high:g} mm, its height",
            remedy="Give what one more adds to the height of a pile, or leave `nest` out.",
        )  # fmt: skip
        refusals.add(error, "nest")


def check_softness(shape: PlainShape, soft: Soft, refusals: Refusals) -> None:
    """Add an error where things of a shape are not pressed as is given."""
    if soft.height is None:
        return
    if isinstance(shape, Cylinder | Screw):
        error = SpecError(
            "Only boxes and polygons have a pressed height.",
            value=soft.height, limit="null", remedy="Leave it out, or give the thing as a box.",
        )  # fmt: skip
        refusals.add(error, "soft", "height")
    elif soft.height > pile_height(shape) + LENGTH_EPSILON:
        error = SpecError(
            "The pressed height is more than the thing's own.",
            value=soft.height, limit=f"at most {pile_height(shape):g} mm",
            remedy="Give the height of a single one in a pile.",
        )  # fmt: skip
        refusals.add(error, "soft", "height")


def check_engraving(
    storage: str | None, pose: AskedPose | None, count: int, refusals: Refusals, *, rolls: bool
) -> None:
    """Add an error where things cannot lie on a shadow floor.

    Args:
        storage: how they are to be stored.
        pose: the pose that is asked for.
        count: how many.
        refusals: takes the errors.
        rolls: whether one that lies rolls away.
    """
    if storage != "pocket":
        error = SpecError(
            "An outline is engraved instead of a pocket.",
            value=storage, limit="`pocket` beside `engraved`", remedy="Set `storage` to pocket, or remove `engraved`.",
        )  # fmt: skip
        refusals.add(error, "storage")
    if pose not in {None, "flat", "any"}:
        error = SpecError(
            "Things on a shadow floor lie flat.",
            value=pose, limit="flat, any or null beside `engraved`", remedy="Remove one of them.",
        )  # fmt: skip
        refusals.add(error, "pose")
    if count > MOST_NESTED:
        error = SpecError(
            "The item needs too many engraved outlines for one tray.",
            value=count, limit=f"at most {MOST_NESTED} beside `engraved`",
            remedy="Use pockets or rows, or split the item.",
        )  # fmt: skip
        refusals.add(error, "count")
    if rolls:
        error = SpecError(
            "A round thing rolls out of an engraved outline.",
            value=True, limit="false for rods, screws and cones", remedy="Remove it: a pocket holds the thing.",
        )  # fmt: skip
        refusals.add(error, "engraved")

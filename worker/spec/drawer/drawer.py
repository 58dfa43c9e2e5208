"""The drawer: what the tape says about it, and the trays that go in."""

from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from worker.spec.drawer.tray import Tray
from worker.spec.errors import LayoutError, SpecError
from worker.spec.items.item_list import Items
from worker.spec.primitives.length import DrawerHeight, DrawerLength, LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, Name
from worker.spec.primitives.polygon import Point, Polygon
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Align", "Drawer", "Obstacle"]

_MOST_PLACED: Final = 2000
_LEAST_SIDE: Final = 20.0
_Side: TypeAlias = Annotated[float, LengthBounds(0.1, 3000.0)]


def _several(value: Any) -> Any:
    """Return one reading as a list of one."""
    return value if isinstance(value, list | tuple) else (value,)


_List: TypeAlias = Annotated[tuple[DrawerLength, ...], Field(min_length=1, max_length=20)]
Readings: TypeAlias = Annotated[_List, BeforeValidator(_several, json_schema_input_type=DrawerLength | _List)]


class Obstacle(Noun):
    """A rectangle of the drawer's bottom that must stay free."""

    name: Name | None = Field(default=None, description="What it is.")
    at: Point = Field(description="Front left corner, x and y.")
    size: tuple[_Side, _Side] = Field(description="Width and depth.")


class Align(Noun):
    """Where the grid lies when it has room to choose."""

    x: Literal["left", "center", "right"] = Field(default="center", description="Left to right.")
    y: Literal["front", "center", "back"] = Field(default="center", description="Front to back.")


class Drawer(Noun):
    """A drawer, measured inside. It has width and depth, or an outline."""

    name: Name = Field(description="Which drawer it is; no two of a job share one.")
    width: Readings | None = Field(
        default=None, description="Left to right: one reading, or several from front to back."
    )
    depth: Readings | None = Field(
        default=None, description="Front to back: one reading, or several from left to right."
    )
    height: DrawerHeight = Field(description="Free height over the drawer's bottom.")
    corner_radius: Annotated[float, LengthBounds(0.0, 500.0)] = Field(default=0.0, description="Radius of its corners.")
    obstacles: tuple[Obstacle, ...] = Field(default=(), max_length=50, description="What must stay free.")
    outline: Polygon | None = Field(default=None, description="Corners [x, y] in order, instead of width and depth.")
    gap: Annotated[float, LengthBounds(0.0, 50.0)] = Field(default=0.5, description="Air on each side of the floor.")
    align: Align = Field(default=Align(), description="Where the grid lies.")
    copies: Annotated[Count, Field(ge=1, le=100)] = Field(default=1, description="How many drawers like this.")
    trays: tuple[Tray, ...] = Field(default=(), max_length=500, description="What goes in.")
    items: Items = Field(default=(), description="Things that trays are sized and placed for, in this drawer.")
    fill: bool = Field(default=False, strict=True, description="Make spare trays for the cells that are left over.")

    @property
    def readings_across(self) -> tuple[float, ...]:
        """The readings of the width, front to back, in mm; none with an outline."""
        return self.width or ()

    @property
    def readings_deep(self) -> tuple[float, ...]:
        """The readings of the depth, left to right, in mm; none with an outline."""
        return self.depth or ()

    @property
    def box(self) -> tuple[float, float, float, float]:
        """The box around the drawer's bottom: least x and y, largest x and y, in mm."""
        if self.outline is not None:
            across, deep = zip(*self.outline, strict=True)
            return min(across), min(deep), max(across), max(deep)
        return 0.0, 0.0, max(self.readings_across), max(self.readings_deep)

    @property
    def least_side(self) -> float:
        """The shortest reading, or the shorter side of the outline's box, in mm."""
        if self.outline is not None:
            left, front, right, back = self.box
            return min(right - left, back - front)
        return min(*self.readings_across, *self.readings_deep)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self._check_sides(refusals):
            self._check_air(refusals)
            self._check_obstacles(refusals)
        placed = sum(tray.quantity for tray in self.trays)
        if placed > _MOST_PLACED:
            error = LayoutError("The drawer has too many trays.", value=placed, limit=f"at most {_MOST_PLACED}")
            refusals.add(error, "trays")
        refusals.settle()
        return self

    def _check_sides(self, refusals: Refusals) -> bool:
        """Return whether the drawer has a box to check the rest against."""
        sides = {"width": self.width, "depth": self.depth}
        if self.outline is None:
            for name in (name for name, readings in sides.items() if readings is None):
                remedy = "Give width and depth, or an outline."
                refusals.add(SpecError(f"The drawer has no {name}.", limit="required", remedy=remedy), name)
            return self.width is not None and self.depth is not None
        for name, readings in sides.items():
            if readings is not None:
                remedy = "Give width and depth, or an outline."
                refusals.add(SpecError("The drawer has an outline as well.", value=readings, remedy=remedy), name)
        if self.least_side < _LEAST_SIDE:
            error = SpecError("The outline is too small.", value=self.least_side, limit=f"at least {_LEAST_SIDE:g} mm")
            refusals.add(error, "outline")
        return True

    def _check_air(self, refusals: Refusals) -> None:
        most = self.least_side / 2.0
        if self.corner_radius > most + LENGTH_EPSILON:
            error = SpecError("The corners are too round.", value=self.corner_radius, limit=f"at most {most:g} mm")
            refusals.add(error, "corner_radius")
        most = self.least_side / 4.0
        if self.gap >= most:
            error = SpecError("The gap takes the drawer away.", value=self.gap, limit=f"under {most:g} mm")
            refusals.add(error, "gap")

    def _check_obstacles(self, refusals: Refusals) -> None:
        least, most = self.box[:2], self.box[2:]
        for index, obstacle in enumerate(self.obstacles):
            for axis, side in enumerate(obstacle.size):
                at, end = obstacle.at[axis], most[axis]
                if not least[axis] <= at < end:
                    limit = f"{least[axis]:g} to {end:g} mm"
                    error = SpecError("The obstacle lies outside the drawer.", value=at, limit=limit)
                    refusals.add(error, "obstacles", index, "at", axis)
                elif at + side > end + LENGTH_EPSILON:
                    limit = f"at most {end - at:g} mm"
                    error = SpecError("The obstacle reaches out of the drawer.", value=side, limit=limit)
                    refusals.add(error, "obstacles", index, "size", axis)

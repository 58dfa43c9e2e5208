"""The drawer: its measurements, obstacles and grid alignment, and the trays and items that go in it."""

from graphlib import CycleError, TopologicalSorter
from typing import Annotated, Any, Final, Literal, Self, TypeAlias

from pydantic import BeforeValidator, ConfigDict, Field, model_validator

from worker.spec.drawer.panel import MOST_PANELS, FloorStyle, Panel
from worker.spec.drawer.tray import Tray
from worker.spec.errors import LayoutError, SpecError, TrayError
from worker.spec.items.item_list import Items
from worker.spec.primitives.length import DrawerHeight, DrawerLength, LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count, HouseholdId, Name, complete_or_by_id
from worker.spec.primitives.polygon import Point, Polygon
from worker.spec.primitives.pydantic_errors import Refusals
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Align", "Drawer", "MeasuredDrawer", "Obstacle"]

_MOST_PLACED: Final = 2000
_LEAST_SIDE: Final = 20.0
_Side: TypeAlias = Annotated[float, LengthBounds(0.1, 3000.0)]


def _several(value: Any) -> Any:
    """Return a single reading as a list of one."""
    return value if isinstance(value, list | tuple) else (value,)


_List: TypeAlias = Annotated[tuple[DrawerLength, ...], Field(min_length=1, max_length=20)]
Readings: TypeAlias = Annotated[_List, BeforeValidator(_several, json_schema_input_type=DrawerLength | _List)]


class Obstacle(Noun):
    """Rectangle of the drawer's bottom that must stay free."""

    name: Name | None = Field(default=None, description="Name of the obstacle.")
    at: Point = Field(description="Front left corner [x, y].")
    size: tuple[_Side, _Side] = Field(description="Width and depth.")


class Align(Noun):
    """Alignment of the grid in a drawer that is larger than its cells."""

    x: Literal["left", "center", "right"] = Field(default="center", description="Alignment from left to right.")
    y: Literal["front", "center", "back"] = Field(default="center", description="Alignment from front to back.")


class MeasuredDrawer(Noun):
    """A drawer, measured inside. Give width and depth, or an outline."""

    name: Name = Field(description="Name of the drawer, unique in the job.")
    width: Readings | None = Field(
        default=None, description="Width (left to right): one reading, or several in order from front to back."
    )
    depth: Readings | None = Field(
        default=None, description="Depth (front to back): one reading, or several in order from left to right."
    )
    height: DrawerHeight = Field(description="Free height above the drawer's bottom.")
    corner_radius: Annotated[float, LengthBounds(0.0, 500.0)] = Field(
        default=0.0, description="Radius of the drawer's corners."
    )
    obstacles: tuple[Obstacle, ...] = Field(default=(), max_length=50, description="Areas that must stay free.")
    outline: Polygon | None = Field(default=None, description="Corners [x, y] in order, instead of width and depth.")
    gap: Annotated[float, LengthBounds(0.0, 50.0)] = Field(
        default=0.5, description="Gap between the floor and the drawer on each side."
    )
    align: Align = Field(default=Align(), description="Alignment of the grid.")

    @property
    def readings_across(self) -> tuple[float, ...]:
        """Readings of the width, from front to back, in mm; empty for an outline."""
        return self.width or ()

    @property
    def readings_deep(self) -> tuple[float, ...]:
        """Readings of the depth, from left to right, in mm; empty for an outline."""
        return self.depth or ()

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Bounding box of the drawer's bottom as (min x, min y, max x, max y), in mm."""
        if self.outline is not None:
            across, deep = zip(*self.outline, strict=True)
            return min(across), min(deep), max(across), max(deep)
        return 0.0, 0.0, max(self.readings_across), max(self.readings_deep)

    @property
    def least_side(self) -> float:
        """Shortest reading, or the shorter side of the outline's bounding box, in mm."""
        if self.outline is not None:
            left, front, right, back = self.box
            return min(right - left, back - front)
        return min(*self.readings_across, *self.readings_deep)

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self._check_sides(refusals):
            self._check_margins(refusals)
            self._check_obstacles(refusals)
        self._check_contents(refusals)
        refusals.settle()
        return self

    def _check_sides(self, refusals: Refusals) -> bool:
        """Return whether the sides are complete, so that the rest can be checked against them."""
        sides = {"width": self.width, "depth": self.depth}
        if self.outline is None:
            for name in (name for name, readings in sides.items() if readings is None):
                remedy = "Give width and depth, or an outline."
                refusals.add(SpecError(f"The drawer has no {name}.", value=None, limit="required", remedy=remedy), name)
            return self.width is not None and self.depth is not None
        for name, readings in sides.items():
            if readings is not None:
                remedy = "Give width and depth, or an outline."
                error = SpecError(
                    f"The drawer has both an outline and a {name}.",
                    value=readings, limit=f"no {name} beside an outline", remedy=remedy,
                )  # fmt: skip
                refusals.add(error, name)
        if self.least_side < _LEAST_SIDE:
            error = SpecError(
                "The outline is too narrow.",
                value=self.least_side, limit=f"at least {_LEAST_SIDE:g} mm", remedy="Check the units of the corners.",
            )  # fmt: skip
            refusals.add(error, "outline")
        return True

    def _check_margins(self, refusals: Refusals) -> None:
        most = self.least_side / 2.0
        if self.corner_radius > most + LENGTH_EPSILON:
            error = SpecError(
                "The corner radius is larger than half the shortest side.",
                value=self.corner_radius, limit=f"at most {most:g} mm", remedy="Give the radius, not the diameter.",
            )  # fmt: skip
            refusals.add(error, "corner_radius")
        most = self.least_side / 4.0
        if self.gap >= most:
            error = SpecError(
                "The gap leaves too little of the drawer.",
                value=self.gap, limit=f"under {most:g} mm", remedy="Use a smaller gap; 0.5 mm is common.",
            )  # fmt: skip
            refusals.add(error, "gap")

    def _check_obstacles(self, refusals: Refusals) -> None:
        least, most = self.box[:2], self.box[2:]
        for index, obstacle in enumerate(self.obstacles):
            for axis, side in enumerate(obstacle.size):
                at, end = obstacle.at[axis], most[axis]
                if not least[axis] <= at < end:
                    limit = f"{least[axis]:g} to {end:g} mm"
                    error = SpecError(
                        "The obstacle lies outside the drawer.",
                        value=at, limit=limit, remedy="Measure its corner from the front left corner of the drawer.",
                    )  # fmt: skip
                    refusals.add(error, "obstacles", index, "at", axis)
                elif at + side > end + LENGTH_EPSILON:
                    limit = f"at most {end - at:g} mm"
                    error = SpecError(
                        "The obstacle extends beyond the drawer.",
                        value=side, limit=limit, remedy="Give only the part of it that is inside the drawer.",
                    )  # fmt: skip
                    refusals.add(error, "obstacles", index, "size", axis)

    def _check_contents(self, refusals: Refusals) -> None:
        """Add the errors of a model's own fields."""


class Drawer(MeasuredDrawer):
    """A drawer of a job. Give width and depth, or an outline."""

    model_config = ConfigDict(json_schema_extra=complete_or_by_id("name", "height"))

    copies: Annotated[Count, Field(ge=1, le=100)] = Field(default=1, description="Number of identical drawers.")
    trays: tuple[Tray, ...] = Field(default=(), max_length=500, description="Trays to place in the drawer.")
    items: Items = Field(default=(), description="Items to make and place trays for in this drawer.")
    fill: bool = Field(default=False, strict=True, description="Fill free cells with spare trays.")
    floor: FloorStyle = Field(
        default="tiles",
        description="tiles: a floor of tiles that trays stand on, beside lanes for items with that "
        "storage; none: the bare bottom, with lanes and panels only.",
    )
    lane_floor: FloorStyle = Field(
        default="none",
        description="What things in lanes lie on in a drawer with a floor. none: the bare bottom, and the floor ends "
        "beside the lanes; tiles: the floor, which covers the whole drawer, so that lanes and trays can change places. "
        "A drawer with tiles and `panels` has tiles below its lanes, too.",
    )
    panels: tuple[Panel, ...] = Field(
        default=(),
        max_length=MOST_PANELS,
        description="Long upright strips that divide the drawer. On a floor of tiles they stand on the walls between "
        "its sockets, and trays stand beside them.",
    )
    id: HouseholdId | None = Field(
        default=None,
        description="Id of the drawer in the household (/v1/drawers). A service fills in the fields that are not given "
        "beside it when the job is submitted, and the drawer's contents follow the job's print events.",
    )

    @property
    def tiled_throughout(self) -> bool:
        """Whether panels and lanes stand and lie on its floor of tiles."""
        return self.floor == "tiles" and (bool(self.panels) or self.lane_floor == "tiles")

    def _check_contents(self, refusals: Refusals) -> None:
        placed = sum(tray.quantity for tray in self.trays)
        if placed > _MOST_PLACED:
            error = LayoutError(
                "The drawer has too many trays.",
                value=placed, limit=f"at most {_MOST_PLACED} trays", remedy="Reduce the quantities.",
            )  # fmt: skip
            refusals.add(error, "trays")
        self._check_floor(refusals)
        self._check_upper_trays(refusals)
        if self.id is not None and self.copies > 1:
            several = SpecError(
                "A drawer of the household has copies.",
                value=self.copies, limit="1 beside an id", remedy="Name each drawer by its own id.",
            )  # fmt: skip
            refusals.add(several, "copies")

    def _check_upper_trays(self, refusals: Refusals) -> None:
        """Add an error for each name below a tray that names no tray or panel, several, or a tray on top of it."""
        named: dict[str, list[int]] = {}
        for index, tray in enumerate(self.trays):
            named.setdefault(tray.name, []).append(index)
        panels = [panel.name for panel in self.panels]
        below: dict[int, list[int]] = {}
        for index, tray in enumerate(self.trays):
            for number, name in enumerate(tray.on):
                indices = named.get(name, [])
                if len(indices) == 1 and self.trays[indices[0]].quantity == 1 and name not in panels:
                    below.setdefault(index, []).append(indices[0])
                    continue
                there = len(indices) + panels.count(name)
                if there == 1 and not indices:
                    continue
                error = TrayError(
                    "Several trays or panels of the drawer have this name." if there else
                    "The drawer has no such tray or panel.",
                    value=name, limit="the name of a single tray, or panel of the list, of the same drawer",
                    remedy="List them one by one, each with a name of its own." if there else
                    "Check the name; for the panels of lanes give `z` instead.",
                )  # fmt: skip
                refusals.add(error, "trays", index, "on", number)
        try:
            TopologicalSorter(below).prepare()
        except CycleError as cycle:
            index = max(cycle.args[1])
            error = TrayError(
                "The tray stands on a tray that stands on it.",
                value=list(self.trays[index].on), limit="trays that stand on the floor in the end",
                remedy="Remove one of the names.",
            )  # fmt: skip
            refusals.add(error, "trays", index, "on")

    def _check_floor(self, refusals: Refusals) -> None:
        """Add an error for each field that needs a floor of tiles in a drawer without one."""
        if self.floor == "tiles":
            return
        if self.lane_floor == "tiles":
            below = LayoutError(
                "The lanes are to have a floor of tiles, and the drawer has none.",
                value=self.lane_floor, limit="no `lane_floor` with floor `none`",
                remedy="Remove `lane_floor`, or set floor to tiles.",
            )  # fmt: skip
            refusals.add(below, "lane_floor")
        on_tiles = sum(not tray.raised for tray in self.trays)
        for name, value in (("trays", on_tiles), ("fill", self.fill)):
            if value:
                error = LayoutError(
                    "Trays stand on a floor of tiles, and the drawer has none.",
                    value=value,
                    limit="only trays `on` panels or with a `z` with floor `none`" if name == "trays" else
                    "no `fill` with floor `none`",
                    remedy=f"Remove `{name}`, or set floor to tiles.",
                )  # fmt: skip
                refusals.add(error, name)

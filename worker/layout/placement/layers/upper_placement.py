"""Where the trays of a drawer's list stand that its spec puts on other trays, on panels, or at a height."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from math import ceil, floor
from typing import Final, NamedTuple, TypeAlias

import shapely
from shapely.geometry.base import BaseGeometry

from worker.layout.model.plan import Lattice
from worker.layout.placement.bay import Spot, half_cells
from worker.layout.placement.layers.panel_seats import Obstruction, PanelSeat, PanelTop, SeatMaker
from worker.layout.placement.layers.upper_trays import (
    LEAST_BALANCE,
    LayeredTray,
    carriers,
    layered,
    on_half_feet,
    support,
)
from worker.layout.placement.tray_placement import PlacedTray, tray_halves
from worker.layout.tray.interior import UNDER_RIM, on_grid
from worker.spec.drawer.drawer import Drawer
from worker.spec.drawer.joint import Joint
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError
from worker.spec.tolerances import CONTAINMENT_SLACK, LENGTH_EPSILON

__all__ = ["DrawerRoom", "panel_seats", "place_upper_trays", "stands_at"]

#: Left, front, right, back in half cells.
_Rectangle: TypeAlias = tuple[float, float, float, float]

#: A height that is given means the next one, up to so far away, at which something carries the tray, mm (own choice:
#: heights in rims have odd decimals).
_NEAR: Final = 0.5


@dataclass(frozen=True)
class DrawerRoom:
    """A drawer as trays on others and on panels find it, in the drawer's frame, mm.

    ``usable`` is its usable area, None: only what cells cover; ``panels`` are the tops of its panels, and
    ``obstructions`` what stands or lies beside them: shoes, clips, things in lanes.
    """

    usable: BaseGeometry | None = None
    panels: tuple[PanelTop, ...] = ()
    obstructions: tuple[Obstruction, ...] = ()


class _Bearers(NamedTuple):
    """What may carry a tray at a place, each with the z that the tray's feet would have on it, mm."""

    trays: tuple[tuple[int, float], ...]
    panels: tuple[tuple[int, float], ...]

    @property
    def levels(self) -> list[float]:
        """The different levels, from the bottom up."""
        return sorted({level for _, level in (*self.trays, *self.panels)})


def place_upper_trays(
    drawer: Drawer,
    lattice: Lattice,
    joint: Joint,
    placed: Sequence[PlacedTray],
    *,
    pointer: str,
    room: DrawerRoom = DrawerRoom(),
) -> tuple[PlacedTray, ...]:
    """Return all trays of a drawer in the order of its list: those on the floor, and those on them and on panels.

    Args:
        drawer: the drawer with its trays.
        lattice: its grid; without cells, positions count from the corner of the usable area.
        joint: joint of the grid.
        placed: the trays on the floor.
        pointer: JSON Pointer of the drawer.
        room: what else is in it.

    Raises:
        TrayError: if a tray cannot stand on those that it is to stand on.
    """
    waiting = {index for index, tray in enumerate(drawer.trays) if tray.raised}
    if not waiting:
        return tuple(placed)
    numbers = {tray.name: number for number, tray in enumerate(drawer.trays)}
    every = list(placed)
    while waiting:
        index = min(waiting, key=lambda number: _turn(drawer.trays[number], number, numbers, waiting))
        waiting.remove(index)
        tray = drawer.trays[index]
        for number in range(tray.quantity):
            layers = _Layers(drawer, lattice, joint, every, f"{pointer}/trays/{index}", room)
            every.append(layers.placed(index, number))
    return tuple(sorted(every, key=lambda place: place.tray))


def stands_at(  # noqa: PLR0917 - a drawer, and a tray in it
    drawer: Drawer,
    lattice: Lattice,
    joint: Joint,
    placed: Sequence[PlacedTray],
    tray: Tray,
    at: Spot,
    room: DrawerRoom,
) -> PlacedTray | None:
    """Return a tray with a height `z` on what carries it at a place; None where it cannot stand there.

    Args:
        drawer: with all trays that stand in it in its list.
        lattice: its grid.
        joint: joint of the grid.
        placed: the trays that stand in it.
        tray: one more.
        at: its front left half cell.
        room: what else is in the drawer.
    """
    index = len(drawer.trays)
    more = drawer.model_copy(update={"trays": (*drawer.trays, tray)})
    try:
        return _Layers(more, lattice, joint, placed, "", room).placed_at(index, at)
    except TrayError:
        return None


def panel_seats(
    room: DrawerRoom, lattice: Lattice, joint: Joint, tray: LayeredTray, *, half_feet: bool
) -> dict[int, PanelSeat]:
    """Return which panels carry a tray, by their index, and how.

    Args:
        room: the drawer with its panels.
        lattice: its grid.
        joint: joint of the grid.
        tray: in its place.
        half_feet: whether it has a foot for each half cell.
    """
    maker = SeatMaker(lattice, joint)
    seats = (maker.seat(panel, tray.at, tray.halves, half_feet=half_feet) for panel in room.panels)
    return {
        index: seat
        for index, seat in enumerate(seats)
        if seat is not None and abs(seat.level - tray.z) < LENGTH_EPSILON
    }


def _turn(tray: Tray, number: int, numbers: Mapping[str, int], waiting: set[int]) -> tuple[bool, bool, float, int]:
    """Return when a tray is placed: once all that it is `on` are, those with a height from the bottom up."""
    blocked = any(numbers.get(name) in waiting for name in tray.on)
    return blocked, tray.z is not None, tray.z or 0.0, number


@dataclass(frozen=True)
class _Layers:
    """The trays of a drawer so far, for one that is to stand on some of them or on panels."""

    drawer: Drawer
    lattice: Lattice
    joint: Joint
    trays: Sequence[PlacedTray]
    pointer: str
    room: DrawerRoom

    @cached_property
    def seats(self) -> SeatMaker:
        """What works out the seats on panels."""
        return SeatMaker(self.lattice, self.joint)

    @cached_property
    def _stood(self) -> list[LayeredTray]:
        return [layered(self.drawer.trays[place.tray], place) for place in self.trays]

    def placed(self, index: int, number: int) -> PlacedTray:
        """Return where a tray stands: the first of its possible places.

        Args:
            index: of the tray in the drawer's list.
            number: how many of this tray are placed already.
        """
        tray = self.drawer.trays[index]
        refused: TrayError | None = None
        for at in self._spots(tray):
            if tray.at is None and not self._is_inside(at, tray_halves(tray)):
                continue
            try:
                return self.placed_at(index, at)
            except TrayError as refusal:
                # that says most which is about a place where something carries it
                if refused is None or (isinstance(refused, _NoPlace) and not isinstance(refusal, _NoPlace)):
                    refused = refusal
        if refused is None:
            raise self._outside(tray, None)
        if number:
            raise self._refusal(
                f"Only {number} of {tray.quantity} trays {tray.name!r} find a place.", "quantity",
                value=tray.quantity, limit=f"the next one: {refused.message}",
                remedy="Take fewer, or make room for more.",
            )  # fmt: skip
        raise refused

    def _spots(self, tray: Tray) -> Iterator[Spot]:
        """Yield the half cells that a tray's front left corner may stand on, the first choice first."""
        if tray.at is not None:
            yield half_cells(tray.at)
            return
        wide, deep = tray_halves(tray)
        boxes: list[_Rectangle] = [(*stood.at, *_far(stood)) for stood in self._named(tray)]
        everywhere = self._everywhere
        boxes += [
            _lengthened(self.seats.halves(panel.box), panel.axis, everywhere) for panel in self._named_panels(tray)
        ]
        boxes = boxes if tray.on else [everywhere]
        lefts, fronts, rights, backs = zip(*boxes, strict=True)
        left, front, right, back = min(lefts), min(fronts), max(rights), max(backs)
        first = max(ceil(left), 0), max(ceil(front), 0)
        columns = range(max(floor(left) + 1 - wide, 0), ceil(right))
        rows = range(max(floor(front) + 1 - deep, 0), ceil(back))
        if not self._named_panels(tray) and tray.on and tray.quantity == 1:
            yield first
        # side by side from the corner on, first those that stand on whole cells
        yield from sorted(
            product(columns, rows),
            key=lambda at: (
                at[0] < first[0] or at[1] < first[1],
                (at[0] - first[0]) % 2 + (at[1] - first[1]) % 2,
                at[1],
                at[0],
            ),
        )

    @property
    def _everywhere(self) -> _Rectangle:
        """The rectangle around the drawer's usable area, in half cells."""
        if self.room.usable is not None:
            return self.seats.halves(self.room.usable.bounds)
        return (0.0, 0.0, *self.lattice.span)

    def _named(self, tray: Tray) -> list[LayeredTray]:
        return [
            stood
            for stood, place in zip(self._stood, self.trays, strict=True)
            if self.drawer.trays[place.tray].name in tray.on
        ]

    def _named_panels(self, tray: Tray) -> list[PanelTop]:
        return [panel for panel in self.room.panels if panel.listed and panel.name in tray.on]

    def placed_at(self, index: int, at: Spot) -> PlacedTray:
        tray = self.drawer.trays[index]
        upper = LayeredTray(at, tray_halves(tray), 0.0, tray.height, tray.rim)
        if not self._is_inside(at, upper.halves):
            raise self._outside(tray, at)
        bearers = self._bearers(upper)
        upper = upper._replace(z=self._level_named(tray, upper, bearers) if tray.on else self._level(tray, bearers))
        if upper.top > self.drawer.height + LENGTH_EPSILON:
            raise self._refusal(
                f"Tray {tray.name!r} reaches higher than drawer {self.drawer.name!r}.", "height",
                value=tray.height, limit=f"at most {on_grid(self.drawer.height - upper.z):g} mm, as its feet stand at "
                f"{upper.z:g} mm",
                remedy="Make it lower, or what it stands on.",
            )  # fmt: skip
        bearing = carriers(upper, self._stood, self.joint.nesting_depth)
        below = [self._stood[number] for number in bearing]
        half_feet = on_half_feet(upper, below)
        seats = panel_seats(self.room, self.lattice, self.joint, upper, half_feet=half_feet)
        if any(
            seat.line is not None and seat.line % 2 != upper.at[1 - self.room.panels[number].axis] % 2
            for number, seat in seats.items()
        ):
            half_feet = True
            seats = panel_seats(self.room, self.lattice, self.joint, upper, half_feet=True)
        self._check_beside(tray, upper, bearing, seats)
        stands = support(upper, below, [seat.contact for seat in seats.values()])
        if stands is None or not stands.holds:
            raise self._refusal(
                f"Tray {tray.name!r} would tip.", *(("on",) if tray.on else ("z",)),
                value=None if stands is None else round(stands.balance or 0.0, 2),
                limit=f"walls or panels below it on all sides of its middle, so that its own mass at a corner does not "
                f"tip it (at least {LEAST_BALANCE:g})",
                remedy="Move it, make it smaller, or put more trays of that height below it.",
            )  # fmt: skip
        return PlacedTray(index, upper.at, half_feet, upper.z)

    # what it stands on

    def _bearers(self, upper: LayeredTray) -> _Bearers:
        """Return what a tray may stand on at its place, whatever its height."""
        depth = self.joint.nesting_depth
        trays = tuple(
            (number, on_grid(other.top - depth))
            for number, other in enumerate(self._stood)
            if other.rim == "stacking" and other.overlaps(upper)
        )
        seats = (self.seats.seat(panel, upper.at, upper.halves, half_feet=False) for panel in self.room.panels)
        return _Bearers(trays, tuple((index, seat.level) for index, seat in enumerate(seats) if seat is not None))

    def _level_named(self, tray: Tray, upper: LayeredTray, bearers: _Bearers) -> float:
        """Return the z of a tray's feet on those that it is `on`."""
        own, seats = dict(bearers.trays), dict(bearers.panels)
        levels: dict[str, float] = {}
        missing: list[str] = []
        for number, (other, place) in enumerate(zip(self._stood, self.trays, strict=True)):
            below = self.drawer.trays[place.tray]
            if below.name not in tray.on:
                continue
            if not other.overlaps(upper):
                missing.append(f"tray {below.name!r}")
            elif number in own:
                levels[below.name] = own[number]
            else:
                raise self._refusal(
                    f"Tray {below.name!r} has no sockets for the feet of tray {tray.name!r}.", "on",
                    value=below.rim, limit="trays with a stacking rim",
                    remedy=f"Set the rim of {below.name} to stacking.",
                )  # fmt: skip
        for index, panel in enumerate(self.room.panels):
            if not panel.listed or panel.name not in tray.on:
                continue
            if index in seats:
                levels[panel.name] = seats[index]
            else:
                missing.append(f"panel {panel.name!r}")
        # of several equal trays, each stands on some of what is named
        if missing and (tray.quantity == 1 or not levels):
            raise self._no_place(
                f"Tray {tray.name!r} does not lie over {missing[0]}.", "on",
                value=list(tray.on), limit="trays and panels below its footprint",
                remedy="Give both a position with `at`, or remove the name.",
            )  # fmt: skip
        tops = set(levels.values())
        if len(tops) > 1:
            raise self._refusal(
                f"What is below tray {tray.name!r} is not equally high.", "on",
                value=sorted(tops), limit="feet at one height on all of it: "
                + ", ".join(f"{level:g} mm on {name}" for name, level in levels.items()),
                remedy="Change heights until these are equal, or remove some names.",
            )  # fmt: skip
        return tops.pop()

    def _level(self, tray: Tray, bearers: _Bearers) -> float:
        """Return the z of the feet of a tray that is given a height: the next one at which something carries it."""
        wished = tray.z or 0.0
        level = min(bearers.levels, key=lambda level: abs(level - wished), default=None)
        if level is None or abs(level - wished) > _NEAR:
            there = ", ".join(f"{level:g}" for level in bearers.levels)
            raise self._no_place(
                f"Nothing carries tray {tray.name!r} at this height.", "z",
                value=wished,
                limit=f"{there} mm, where rims and panels carry it" if there and tray.at is not None
                else f"within {_NEAR:g} mm of where rims or panels below it carry its feet",
                remedy="Set `z` to such a height, or put trays with a stacking rim or panels below it.",
            )  # fmt: skip
        return level

    # what is beside it

    def _is_inside(self, at: Spot, size: Spot) -> bool:
        """Return whether a tray is in the usable area of the drawer, or over cells."""
        (x, y), (wide, deep) = at, size
        if self.room.usable is None:
            return all((u, v) in self._cells for v in range(y, y + deep) for u in range(x, x + wide))
        (left, front), half, inset = self.lattice.origin, self.lattice.pitch / 2.0, self.joint.body_inset
        body = shapely.box(
            left + x * half + inset, front + y * half + inset,
            left + (x + wide) * half - inset, front + (y + deep) * half - inset,
        )  # fmt: skip
        return bool(self._usable.covers(body))

    @cached_property
    def _usable(self) -> BaseGeometry:
        assert self.room.usable is not None  # noqa: S101 - the caller asks only then
        area = self.room.usable.buffer(CONTAINMENT_SLACK, join_style="mitre")
        shapely.prepare(area)
        return area

    @cached_property
    def _cells(self) -> frozenset[Spot]:
        return self.lattice.half_cells

    def _outside(self, tray: Tray, at: Spot | None) -> TrayError:
        return self._refusal(
            f"Tray {tray.name!r} reaches beyond the usable area of the drawer.", "at" if tray.at else "cells",
            value=[along / 2.0 for along in at] if at is not None and tray.at else list(tray.cells),
            limit="the drawer's bottom without gap and obstacles under all of it",
            remedy="Move it, or make it smaller.",
        )  # fmt: skip

    def _check_beside(
        self, tray: Tray, upper: LayeredTray, bearing: Sequence[int], seats: Mapping[int, PanelSeat]
    ) -> None:
        """Check that a tray is clear of all that does not carry it."""
        for number, other in enumerate(self._stood):
            if (
                other.overlaps(upper)
                and number not in bearing
                and other.top > upper.z - UNDER_RIM + LENGTH_EPSILON
                and upper.top > other.z - UNDER_RIM + LENGTH_EPSILON
            ):
                name = self.drawer.trays[self.trays[number].tray].name
                raise self._refusal(
                    f"Tray {tray.name!r} runs into tray {name!r}.", "on" if tray.on else "z",
                    value=list(tray.on) or tray.z,
                    limit=f"trays below it that end at {on_grid(upper.z - UNDER_RIM):g} mm, or that are as high as "
                    "those that carry it and have a stacking rim",
                    remedy=f"Move one of them, or change the height of {name}, {on_grid(other.top):g} mm.",
                )  # fmt: skip
        own = shapely.box(*upper.at, *_far(upper))
        tops = [
            Obstruction(f"panel {panel.name!r}", panel.box, panel.height)
            for number, panel in enumerate(self.room.panels)
            if number not in seats and panel.height > upper.z + LENGTH_EPSILON
        ]
        tops += [other for other in self.room.obstructions if other.top > upper.z + LENGTH_EPSILON]
        for obstruction in tops:
            if (shapely.box(*self.seats.halves(obstruction.box)) & own).area > 0.0:
                raise self._refusal(
                    f"Tray {tray.name!r} runs into {obstruction.name}.", "on" if tray.on else "z",
                    value=list(tray.on) or tray.z,
                    limit=f"nothing over {upper.z:g} mm below it; this is {on_grid(obstruction.top):g} mm high",
                    remedy="Move one of them, or put the tray higher.",
                )  # fmt: skip

    def _refusal(self, message: str, at: str, *, value: object, limit: str, remedy: str) -> TrayError:
        return TrayError(message, pointer=f"{self.pointer}/{at}", value=value, limit=limit, remedy=remedy)

    def _no_place(self, message: str, at: str, *, value: object, limit: str, remedy: str) -> TrayError:
        return _NoPlace(message, pointer=f"{self.pointer}/{at}", value=value, limit=limit, remedy=remedy)


class _NoPlace(TrayError):
    """Nothing of what is to carry a tray is below it."""


def _lengthened(box: _Rectangle, axis: int, everywhere: _Rectangle) -> _Rectangle:
    """Return a panel's rectangle from side to side of the drawer: trays reach over its shoes."""
    ends = everywhere[axis], everywhere[axis + 2]
    return (ends[0], box[1], ends[1], box[3]) if axis == 0 else (box[0], ends[0], box[2], ends[1])


def _far(tray: LayeredTray) -> tuple[int, int]:
    """Return the half cell behind and to the right of a tray."""
    return tray.at[0] + tray.halves[0], tray.at[1] + tray.halves[1]

"""Held stops: the dividers that keep what a tray of the list holds from toppling, as in trays that are laid out."""

from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Final, Literal

from worker.layout.items.held.compartment_fit import Lying
from worker.layout.model.shapes import TrayShape
from worker.layout.placement.columns.assortment import UNDER_FOOT
from worker.layout.storage.lane import Stop
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import Bulk, Lot
from worker.layout.tray.compartments import Compartment
from worker.layout.tray.interior import on_grid
from worker.layout.tray.ramp_and_ledge import ramp_as_made
from worker.spec.drawer.tray import MOST_DIVIDERS, Divider, Text, Tray
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["stoppable", "with_stops"]

_AXES: Final[tuple[Literal["x", "y"], Literal["x", "y"]]] = ("x", "y")


def stoppable(tray: Tray, lying: Lying, ground: DrawerLimits) -> Lying | None:
    """Return how things lie where they may have stops; None where these would divide their label, or have no room.

    Several kinds get dividers between them if one has stops that end there, or could topple against the others.
    """
    compartment = lying.compartment
    at_back = compartment.place[1] + compartment.reach[1] == tray.grid[1]
    undivided = tray.grid == (1, 1) and not tray.labels and (tray.text is None or tray.text.face == "ledge")
    if tray.label_ledge is not None and at_back and not undivided:
        return None
    if len(lying.lanes) == 1:
        return lying
    parted = lying.parted(ground.wall)
    if parted is None or any(lane.leans(lying.axis, lying.free) for lane in lying.lanes):
        return parted
    return parted if any(stops for _, stops in _filled(parted, ground)) else None


def with_stops(
    tray: Tray, shape: TrayShape, stopped: Iterable[Lying], ground: DrawerLimits, highest: float
) -> Tray | None:
    """Return a tray with the stops of what lies in it, the same where nothing needs any; None with too many dividers.

    All its dividers are then listed, and its ramp is the one that it has without stops.

    Args:
        tray: the tray.
        shape: its shape without stops.
        stopped: what lies where it may have stops.
        ground: the drawer's limits with the tray's walls.
        highest: height of the highest walls around a compartment, over the floor.
    """
    stops = tuple(_stops(tray, shape, stopped, ground, highest))
    dividers = (*tray.dividers, *_even(tray, shape), *stops)
    if not stops:
        return tray
    if len(dividers) > MOST_DIVIDERS:
        return None
    ramp = ramp_as_made(tray, shape.ramp)
    parted = tray.model_copy(update={"dividers": dividers, "compartments": None, "finger_ramp": ramp})
    if tray.grid == (1, 1) and tray.labels:  # its label is that of all its compartments
        text = None if tray.labels[0] is None else Text(text=tray.labels[0], face="ledge")
        parted = parted.model_copy(update={"labels": (), "text": text})
    return parted


def _even(tray: Tray, shape: TrayShape) -> Iterator[Divider]:
    """Yield the dividers between equal compartments, as they are listed."""
    for axis, count in zip(_AXES, tray.compartments or (1, 1), strict=True):
        if count > 1:
            walls = [wall for wall in shape.walls if wall.axis == axis]
            yield from (Divider(axis=axis, at=on_grid(wall.at - shape.wall)) for wall in walls)


def _stops(
    tray: Tray, shape: TrayShape, stopped: Iterable[Lying], ground: DrawerLimits, highest: float
) -> Iterator[Divider]:
    for lying in stopped:
        compartment = lying.compartment
        low = compartment.high < highest - LENGTH_EPSILON
        # under a foot that may settle, dividers end lower than the walls
        height = on_grid(compartment.high - (UNDER_FOOT if tray.rim == "stacking" else 0.0)) if low else None
        ends = [_ends(shape, compartment, axis) for axis in (0, 1)]
        between = [Stop(lying.axis, at).divider(ends[1 - lying.axis], shape.wall, height) for at in lying.dividers()]
        borders = [ends[lying.axis][0], *(wall.at for wall in between), ends[lying.axis][1]]
        within = []
        for sides, (_, stops) in zip(pairwise(borders), _filled(lying, ground), strict=True):
            own = ends[1 - lying.axis]
            within += [stop.divider(own if stop.axis == lying.axis else sides, shape.wall, height) for stop in stops]
        for wall in (*between, *within):
            yield Divider(axis=wall.axis, at=wall.at, height=wall.height, span=wall.span)


def _filled(lying: Lying, ground: DrawerLimits) -> Iterator[tuple[Lot | Bulk, tuple[Stop, ...]]]:
    yield from lying.filled([""] * len(lying.lanes), ground, stop=True)


def _ends(shape: TrayShape, compartment: Compartment, axis: int) -> tuple[float, float]:
    """Return where a compartment ends along an axis: at middles of dividers or at inner faces, as in a tray's spec."""
    low, high = 0.0, shape.halves[axis] * shape.pitch / 2.0 - 2.0 * (shape.inset + shape.wall)
    begin, beside = compartment.at[axis], compartment.at[1 - axis] + compartment.size[1 - axis] / 2.0
    middle = begin + compartment.size[axis] / 2.0
    for wall in shape.walls:
        if wall.axis == _AXES[axis] and (wall.span is None or wall.span[0] < beside < wall.span[1]):
            at = on_grid(wall.at - shape.wall)
            low, high = (max(low, at), high) if wall.at < middle else (low, min(high, at))
    return low, on_grid(high)

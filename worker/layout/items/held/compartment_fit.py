"""The compartment fit: which of the things that a tray is said to hold fit a compartment, and how they lie there.

A compartment is judged as a lane of an automatic tray is: by the same ways to keep things, the same air, grip and
walls. Things of several kinds that lie or stand in one compartment do so side by side, as lanes without a divider.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

from worker.layout.placement.columns.assortment import LONG, UNDER_FOOT
from worker.layout.placement.columns.objective import Weights
from worker.layout.storage.lane import LEAST_LANE, Lane, Stop
from worker.layout.storage.lane_sizing import MOST_HEAP_WALL, lanes
from worker.layout.storage.loose import heap
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import Bulk, Lot
from worker.layout.storage.ways import Kind
from worker.layout.tray.compartments import Compartment
from worker.spec.drawer.tray import Rim
from worker.spec.items.item import Item
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Limit", "Lying", "Share", "TrayRules", "arrangement"]

#: Some of an item's things.
Share: TypeAlias = tuple[Item, int]

#: What may be lifted to see whether it is in the way: too high or too low walls, the tray's rim, the drawer's height.
Limit: TypeAlias = Literal["high", "low", "rim", "drawer"]

#: So many lanes of a kind, at most, are tried beside those of other kinds.
_MOST_BESIDE: Final = 6

#: Higher than any drawer, mm.
_ANY_HEIGHT: Final = 1000.0


@dataclass(frozen=True)
class TrayRules:
    """What things in a tray are judged by: the drawer's limits with the tray's walls, its rim, the weights of ways.

    ``lifted`` are the limits that do not count.
    """

    ground: DrawerLimits
    rim: Rim
    weights: Weights
    lifted: frozenset[Limit] = frozenset()

    def without(self, *limits: Limit) -> "TrayRules":
        """Return the same without these limits."""
        ground = replace(self.ground, height=_ANY_HEIGHT) if "drawer" in limits else self.ground
        return replace(self, ground=ground, lifted=self.lifted | set(limits))


@dataclass(frozen=True, slots=True)
class Lying:
    """How things lie in a compartment: their lanes side by side along an axis, each with its width in mm.

    ``divider`` is the thickness in mm of the dividers between lanes, 0 where there are none.
    """

    compartment: Compartment
    axis: int
    lanes: tuple[Lane, ...]
    widths: tuple[float, ...]
    divider: float = 0.0

    @property
    def spare(self) -> float:
        """The width in mm that the lanes have beyond what they need, together."""
        return sum(self.widths) - sum(lane.width for lane in self.lanes)

    @property
    def free(self) -> float:
        """The width in mm that is free beside the things, together, where most is."""
        return sum(self.widths) - sum(lane.least_taken(self.axis) for lane in self.lanes)

    def parted(self, divider: float) -> "Lying | None":
        """Return the same with dividers of this thickness in mm between the lanes; None without room for them."""
        rest = self.spare - divider * (len(self.lanes) - 1)
        widths = tuple(lane.width + rest / len(self.lanes) for lane in self.lanes)
        return replace(self, widths=widths, divider=divider) if rest >= 0.0 and min(widths) >= LEAST_LANE else None

    def dividers(self) -> Iterator[float]:
        """Yield the middles of the dividers between lanes along ``axis``, in the tray's part frame, mm."""
        at = _clear(self.compartment, self.lanes).at[self.axis]
        for width in self.widths[:-1] if self.divider else ():
            yield at + width + self.divider / 2.0
            at += width + self.divider

    def filled(
        self, names: Sequence[str], ground: DrawerLimits, *, stop: bool
    ) -> Iterator[tuple[Lot | Bulk, tuple[Stop, ...]]]:
        """Yield where the things of each lane are, in the tray's part frame, and with ``stop`` the stops of each."""
        room, axis = _clear(self.compartment, self.lanes), self.axis
        at = room.at[axis]
        span = room.at[1 - axis], room.size[1 - axis]
        for lane, width, name in zip(self.lanes, self.widths, names, strict=True):
            yield lane.fill(name, at, width, span, axis, ground, self.compartment.low, room.ramp, stop=stop)
            at += width + self.divider


def arrangement(compartment: Compartment, shares: Sequence[Share], rules: TrayRules) -> Lying | None:
    """Return the best way to keep all of these things in a compartment; None where there is none.

    Args:
        compartment: the room.
        shares: the things, in the order in which they are to lie, from the left or the front.
        rules: the tray's.
    """
    best: tuple[tuple[float, ...], Lying] | None = None
    for axis in (0, 1):
        for cost, picked in _combined(compartment, shares, axis, rules):
            spare = _clear(compartment, picked).size[axis] - sum(lane.width for lane in picked)
            order = (cost, sum(lane.layers for lane in picked), float(axis), -spare)
            if best is None or order < best[0]:
                widths = tuple(lane.width + max(spare, 0.0) / len(picked) for lane in picked)
                best = order, Lying(compartment, axis, picked, widths)
    return None if best is None else best[1]


def _combined(
    compartment: Compartment, shares: Sequence[Share], axis: int, rules: TrayRules
) -> list[tuple[float, tuple[Lane, ...]]]:
    """Return lanes for all things that are not too wide together, each with the cost of taking things out of them.

    None is returned that is both wider and dearer than another.
    """
    states: list[tuple[float, tuple[Lane, ...]]] = [(0.0, ())]
    for share in shares:
        choices = _choices(compartment, share, axis, rules, alone=len(shares) == 1)
        grown = [(cost + more, (*lanes_, lane)) for cost, lanes_ in states for more, lane in choices[:_MOST_BESIDE]]
        grown.sort(key=lambda state: (state[0], sum(lane.layers for lane in state[1]), _wide(state[1])))
        states, least = [], _clear(compartment, grown[0][1]).size[axis] + LENGTH_EPSILON if grown else 0.0
        for cost, picked in grown:
            if _wide(picked) <= least - (LENGTH_EPSILON if states else 0.0):
                states.append((cost, picked))
                least = _wide(picked)
    return states


def _wide(picked: Sequence[Lane]) -> float:
    return sum(lane.width for lane in picked)


def _choices(
    compartment: Compartment, share: Share, axis: int, rules: TrayRules, *, alone: bool
) -> list[tuple[float, Lane]]:
    """Return the lanes of a kind that suit a compartment and the costs of taking things out of them, best first."""
    item, count = share
    kind = Kind.of(item, count)
    choices: list[tuple[float, Lane]] = []
    for room in dict.fromkeys((compartment, _clear(compartment))):
        for lane in lanes(kind, room.size[1 - axis], rules.ground) if min(room.size) > 0.0 else ():
            if lane.count != count or room != _clear(compartment, [lane]):
                continue
            if _suits(lane, room, axis, rules) and (alone or _lies_beside(lane)):
                cost = rules.weights.lane(item, lane)
                if axis == 1 and lane.pose.size[1] > LONG:
                    cost += rules.weights.side
                choices.append((cost, lane if axis == 0 else lane.turned()))
    choices.sort(key=lambda choice: (choice[0], choice[1].layers, choice[1].width))
    return choices


def _suits(lane: Lane, room: Compartment, axis: int, rules: TrayRules) -> bool:
    """Return whether a compartment has room for a lane and walls that suit it."""
    width, lifted = room.size[axis], rules.lifted
    if lane.width > width + LENGTH_EPSILON or lane.inner:
        return False
    if "low" not in lifted and room.low < lane.walls - LENGTH_EPSILON:
        return False
    # a ramp brings to the fingers what lies deep between near walls
    most = MOST_HEAP_WALL if lane.way == "heap" and room.ramp is not None else lane.most
    if "high" not in lifted and room.high > most + LENGTH_EPSILON:
        return False
    if rules.rim == "stacking" and "rim" not in lifted and lane.stack + UNDER_FOOT > room.high + LENGTH_EPSILON:
        return False
    if lane.way != "heap" or room.ramp is None or lane.goods is None:
        return True
    margin = 2.0 * rules.ground.margin(0.0)
    sides = [along - margin for along in room.size]
    heaped = heap(lane.goods, sides[0], sides[1], room.ramp)
    return heaped is not None and ("low" in lifted or heaped.walls <= room.low + LENGTH_EPSILON)


def _lies_beside(lane: Lane) -> bool:
    """Return whether things stay where they are without a divider beside them."""
    rolls = lane.pose.form == "cylinder" and lane.pose.axis != "z" and lane.layers > 1
    return lane.way in {"row", "stand"} and not rolls


def _clear(compartment: Compartment, picked: Sequence[Lane] = ()) -> Compartment:
    """Return the part of a compartment that things use: loose ones lie over its ramp, all others behind it."""
    ramp = compartment.ramp
    if ramp is None or any(lane.way == "heap" for lane in picked):
        return compartment
    (x, y), (width, depth) = compartment.at, compartment.size
    return replace(compartment, at=(x, y + ramp), size=(width, depth - ramp), ramp=None)

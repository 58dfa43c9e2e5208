"""The objective: what a layout is worth, in minutes of the time that it saves less those that it costs.

One number compares everything: the worth of the things that have a place, filament and print time, floor, reaching,
scattered groups and unlike neighbours. All weights stand here. They are own choices, set on practice drawers
(``tests/bench/practice``), never on those that are held out.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from math import log2
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, NamedTuple, TypeVar

from worker.layout.storage.lane import Lane
from worker.layout.storage.poses import volume
from worker.spec.items.item import Access, Item
from worker.spec.items.layout import Profile

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["WEIGHTS", "Weights", "worth"]

#: A number of things, or one for each of several sets of them.
_CountT = TypeVar("_CountT", float, "NDArray[np.float64]")

#: A cubic centimetre of filament weighs so many grams (PLA, 1.24 g/cm3; other filaments differ by a sixth).
_GRAMS: Final = 1.24e-3

#: Things of this volume in all (mm3) count as of middle size.
_MIDDLE_SIZE: Final = 50_000.0


class ByAccess(NamedTuple):
    """Minutes by how often a thing is used."""

    often: float
    sometimes: float
    rarely: float

    def of(self, access: Access) -> float:
        """Return the minutes of one access."""
        return float(getattr(self, access))


_FRONT: Final = ByAccess(0.6, 0.15, -0.1)


@dataclass(frozen=True)
class Weights:
    """Minutes that each trait of a layout is worth or costs.

    ``access`` is the worth of one thing by how often it is used, ``doubling`` the share that each doubling of its count
    adds, ``size`` the exponent by which its volume counts, within ``size_limits``.

    ``gram`` is the cost of a gram of filament with the time to print it, ``tray`` of one more tray, ``piece`` of each
    piece more that a tray is joined from, ``variety`` of one more footprint, ``height`` of one more height, ``cell`` of
    a cell of floor, ``layer`` of each layer to dig through and ``heap`` of a heap to search, ``lift`` of a tray to lift
    out for each kind below it, ``side`` of long things that lie left to right, ``end`` of things that stand though they
    could lie, ``split`` the share of a kind's worth lost when it is not all in one compartment, ``unlike`` the cost of
    each further thing in a tray that is only of a similar size, and ``mixed`` of each further group in it; things that
    belong to none count as one group. As a group that lies in one more tray either mixes with another or takes a tray
    of its own, ``mixed`` and ``tray`` are the price of scattering a group, too.

    ``front`` is the cost of each cell of distance from the front, by access; ``apart`` of each cell between trays of
    one group; ``near`` between things that are to be near each other. ``spare`` is the worth of each free cell up to
    the share of the floor that is to be kept free. ``moved`` is the cost of each kind in another place than in an
    earlier plan.
    """

    access: ByAccess
    doubling: float = 0.12
    size: float = 0.12
    size_limits: tuple[float, float] = (0.75, 1.3)
    gram: float = 0.22
    tray: float = 20.0
    piece: float = 8.0
    variety: float = 10.0
    height: float = 11.0
    cell: float = 0.8
    layer: float = 1.5
    heap: float = 0.5
    lift: float = 6.0
    side: float = 5.0
    end: float = 3.0
    split: float = 0.12
    unlike: float = 2.5
    mixed: float = 14.0
    front: ByAccess = _FRONT
    apart: float = 0.5
    near: float = 3.0
    spare: float = 1.0
    moved: float = 8.0

    @cached_property
    def plastic(self) -> float:
        """The cost of a mm3 of filament."""
        return self.gram * _GRAMS

    def mixing(self, groups: _CountT, without: _CountT) -> _CountT:
        """Return what it costs that things share a tray: of so many groups, and so many that belong to none.

        Both are numbers, or arrays of one shape; all that belong to none are one more group.
        """
        others = without > 0
        every = groups + others
        return self.mixed * (every - (every > 0)) + self.unlike * (without - others)

    def lane(self, item: Item, lane: Lane) -> float:
        """Return what it costs to take things out of a lane."""
        often = _REACHING.of(item.access)
        # what nests is taken off its pile as from a single layer
        cost = 0.0 if lane.rise else self.layer * min(lane.layers - 1.0, lane.stack / _LAYER)
        if lane.way == "heap":
            cost += self.heap
        if lane.way in {"stand", "file"} and item.storage is None:
            cost += self.end
        return cost * often

    def below(self, item: Item) -> float:
        """Return what it costs to lift a tray out whenever a thing below it is used."""
        return self.lift * _REACHING.of(item.access)


#: What lies in thinner layers is leafed through: it counts by its height, a layer for so many mm.
_LAYER: Final = 15.0

#: How much reaching for a thing counts.
_REACHING: Final = ByAccess(1.5, 1.0, 0.5)

_BALANCED: Final = Weights(access=ByAccess(140.0, 62.0, 46.0))

WEIGHTS: Final[Mapping[Profile, Weights]] = MappingProxyType(
    {
        "balanced": _BALANCED,
        "least plastic": replace(_BALANCED, gram=0.9, tray=22.0),
        "fits most": replace(
            _BALANCED,
            access=ByAccess(75.0, 68.0, 63.0),
            gram=0.05, layer=0.5, end=1.0, spare=0.0,
        ),
        "quick to reach": replace(
            _BALANCED,
            access=ByAccess(125.0, 57.0, 28.0),
            layer=4.0, heap=1.5,
            front=ByAccess(1.8, 0.4, 0.0),
        ),
    }
)  # fmt: skip


def worth(item: Item, weights: Weights) -> float:
    """Return what a place for all things of an item is worth, in minutes."""
    least, most = weights.size_limits
    bulk = volume(item.plain) * item.count / _MIDDLE_SIZE
    size = min(max(bulk**weights.size, least), most) if bulk > 0.0 else least
    return weights.access.of(item.access) * (1.0 + weights.doubling * log2(item.count)) * size

"""Hold shortage: why things do not fit the compartment that is to hold them, and what would help.

The cause is the limit without which they fit. Every remedy was tried: with it, all of the things fit.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil
from types import MappingProxyType
from typing import Final, NamedTuple

from worker.layout.items.bisection import least_with
from worker.layout.items.held.compartment_fit import Limit, Share, TrayRules, arrangement
from worker.layout.tray.compartments import Compartment
from worker.layout.tray.interior import UNDER_RIM, on_grid
from worker.spec.drawer.tray import Tray
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["Misfit", "misfit"]

#: A compartment is tried larger by up to so many mm, its walls and the drawer higher or lower.
_MOST_LARGER: Final = 512
_MOST_HIGHER: Final = 256


class Misfit(NamedTuple):
    """Why things do not fit, and what would help, in words."""

    reason: str
    remedy: str


@dataclass(frozen=True)
class _Case:
    """Things that are all to lie in one compartment of a tray, the last of them those that do not fit."""

    tray: Tray
    room: Compartment
    shares: Sequence[Share]
    rules: TrayRules

    def fits(self, room: Compartment | None = None, rules: TrayRules | None = None) -> bool:
        """Return whether all of the things fit another compartment, or are judged by less."""
        return arrangement(room or self.room, self.shares, rules or self.rules) is not None

    def walls(self, by: float) -> Compartment:
        """Return the compartment with its outer walls higher by so many mm, its dividers no higher than they."""
        room = self.room
        high = on_grid(room.high + by)
        return replace(room, high=high, low=high if room.low == room.high else min(room.low, high))

    def height(self, by: float) -> str:
        """Return how high the tray is with walls that are higher by so many mm."""
        return f"{self.tray.height + by:g} mm"


def misfit(tray: Tray, room: Compartment, shares: Sequence[Share], rules: TrayRules, kept: int) -> Misfit:
    """Return why the last of these things do not fit a compartment beside the others.

    Args:
        tray: the tray.
        room: the compartment.
        shares: the things, those that do not fit last.
        rules: what they are judged by.
        kept: how many of the last do fit.
    """
    case = _Case(tray, room, shares, rules)
    item, count = shares[-1]
    where = f"compartment {list(room.place)} of tray {tray.name!r}"
    if item.storage == "pocket":
        return Misfit(f"each is to have a pocket, and {where} has none", "Leave out `storage` of the item.")
    lack = _one_limit(case) or _size_and_limit(case)
    if lack is not None:
        partly = f" (it has room for {kept} of {count})" if kept else ""
        return Misfit(f"{where} {lack.reason}{partly}", lack.remedy)
    if item.storage is not None:
        free = replace(case, shares=[*shares[:-1], (item.model_copy(update={"storage": None}), count)])
        if free.fits():
            return Misfit(f"{where} does not hold it stored as {item.storage}", "Leave out `storage` of the item.")
    return Misfit(
        f"{where} leaves no way to keep {'them' if count > 1 else 'it'} that a finger can reach",
        "Give it a tray of its own, or list it without a tray.",
    )


def _one_limit(case: _Case) -> Misfit | None:
    """Return the limit that alone is in the way."""
    return next((lack for cause in (*_OTHER_LIMITS.values(), _too_small) if (lack := cause(case))), None)


def _size_and_limit(case: _Case) -> Misfit | None:
    """Return the limit that is in the way beside the compartment's size."""
    for limit, cause in _OTHER_LIMITS.items():
        larger = _large_enough(replace(case, rules=case.rules.without(limit)))
        lack = None if larger is None else cause(replace(case, room=larger))
        if larger is not None and lack is not None:
            small = _small(case, larger)
            remedy = f"{small.remedy[:-1]}; besides: {lack.remedy[0].lower()}{lack.remedy[1:]}"
            return Misfit(f"{small.reason}; besides, it {lack.reason}", remedy)
    return None


def _too_high(case: _Case) -> Misfit | None:
    if not case.fits(rules=case.rules.without("high")):
        return None
    by = _first(lambda by: case.fits(case.walls(-by)), case.room.high)
    if by is None:
        return None
    most = case.room.high - by
    return Misfit(
        f"has walls of {_mm(case.room.high)} mm over its floor; a finger reaches over {_mm(most)}",
        f"Make the tray {case.height(-by)} high.",
    )


def _too_low(case: _Case) -> Misfit | None:
    if not case.fits(rules=case.rules.without("low")):
        return None
    room = case.room
    if room.low < room.high:
        by = _first(lambda by: case.fits(replace(room, low=on_grid(room.low + by))), room.high - room.low)
        if by is not None:
            high = on_grid(room.low + by)
            return Misfit(
                f"has a divider of {_mm(room.low)} mm over its floor, and needs {_mm(high)}",
                f"Make the divider {high:g} mm high.",
            )
    by = _first(lambda by: case.fits(replace(case.walls(by), low=on_grid(room.high + by))), _MOST_HIGHER)
    if by is None:
        return None
    return Misfit(
        f"has walls of {_mm(room.low)} mm over its floor, and needs {_mm(room.high + by)}",
        f"Make the tray {case.height(by)} high" + (" and its dividers as high as it." if room.low < room.high else "."),
    )


def _under_rim(case: _Case) -> Misfit | None:
    if case.rules.rim != "stacking" or not case.fits(rules=case.rules.without("rim")):
        return None
    reason = f"ends {_mm(case.room.high)} mm over its floor, where a tray above begins, and the things stand out"
    straight = on_grid(case.tray.height - case.rules.ground.floor_top - UNDER_RIM)
    bare = replace(case.room, high=straight, low=min(straight, case.room.low))
    if case.fits(bare, replace(case.rules, rim="straight")):
        return Misfit(reason, "Give the tray a straight rim.")
    by = _first(lambda by: case.fits(case.walls(by)), _MOST_HIGHER)
    return None if by is None else Misfit(reason, f"Make the tray {case.height(by)} high.")


def _too_tall(case: _Case) -> Misfit | None:
    if not case.fits(rules=case.rules.without("drawer")):
        return None
    ground = case.rules.ground

    def fits(by: float) -> bool:
        higher = replace(ground, height=ground.height + by)
        return case.fits(rules=replace(case.rules, ground=higher))

    by = _least(fits, _MOST_HIGHER)
    if by is None:
        return None
    needed = f"{ceil(ground.height + by)} mm"
    return Misfit(
        f"would have to stand in a drawer of {needed}: this one has {ground.height:g}",
        f"A drawer of {needed} inner height would hold it.",
    )


def _too_small(case: _Case) -> Misfit | None:
    larger = _large_enough(case)
    return None if larger is None else _small(case, larger)


def _small(case: _Case, larger: Compartment) -> Misfit:
    beside = f" beside {', '.join(item.name for item, _ in case.shares[:-1])}" if len(case.shares) > 1 else ""
    has, needs = (f"{_mm(room.size[0])} x {_mm(room.size[1])} mm" for room in (case.room, larger))
    return Misfit(f"is {has} inside, and needs {needs}{beside}", f"Give it a compartment of {needs} inside.")


def _large_enough(case: _Case) -> Compartment | None:
    """Return the smallest larger compartment that holds all: wider, deeper, or both by as much."""
    rooms: list[Compartment] = []
    for across, back in ((1.0, 0.0), (0.0, 1.0), (1.0, 1.0)):

        def larger(by: float, across: float = across, back: float = back) -> Compartment:
            return _larger(case.room, across * by, back * by)

        def fits(by: float, larger: Callable[[float], Compartment] = larger) -> bool:
            return case.fits(larger(by))

        by = _least(fits, _MOST_LARGER)
        if by is not None:
            rooms.append(larger(by))
    return min(rooms, key=lambda room: (room.size[0] * room.size[1], room.size), default=None)


def _mm(length: float) -> str:
    """Return a length in mm for people: to a tenth, rounded up, so that what is needed suffices."""
    return f"{ceil(length * 10.0 - LENGTH_EPSILON) / 10.0:g}"


def _larger(room: Compartment, across: float, back: float) -> Compartment:
    return replace(room, size=(on_grid(room.size[0] + across), on_grid(room.size[1] + back)))


def _first(fits: Callable[[float], bool], most: float) -> float | None:
    """Return the least whole number of mm up to this with which things fit; None for none."""
    return next((float(by) for by in range(1, int(most) + 1) if fits(float(by))), None)


def _least(fits: Callable[[float], bool], most: float) -> float | None:
    """Return a whole number of mm with which things fit, the least where more room never harms; None for none."""
    high = next((by for by in _doubled(most) if fits(float(by))), None)
    if high is None:
        return None
    return float(least_with(high // 2, high, lambda by: fits(float(by))))


def _doubled(most: float) -> Iterator[int]:
    by = 1
    while by <= most:
        yield by
        by *= 2


#: The limits other than a compartment's size, each with what finds out whether it is in the way.
_OTHER_LIMITS: Final[Mapping[Limit, Callable[[_Case], Misfit | None]]] = MappingProxyType(
    {"high": _too_high, "low": _too_low, "rim": _under_rim, "drawer": _too_tall}
)

"""Greedy placement: requests in order, each at the best free position."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from random import Random
from typing import Final, Literal, TypeAlias

from worker.layout.placement.placement_problem import (
    Bay,
    Bill,
    Fit,
    GridPlace,
    Request,
    SizeChoice,
    Spot,
    bill,
    block,
    score,
    ties,
)

__all__ = ["allowance", "best_greedy", "best_of_three", "bottom_left", "plain_fits", "reworked"]

Order: TypeAlias = Callable[[Request], tuple[int, ...]]
Rank: TypeAlias = Callable[[SizeChoice], tuple[int, ...]]
Rule: TypeAlias = Literal["front", "together"]


def _smallest(choice: SizeChoice) -> tuple[int, ...]:
    return choice.area, choice.cost


def _lightest(choice: SizeChoice) -> tuple[int, ...]:
    return choice.cost, choice.area


def _flattest(choice: SizeChoice) -> tuple[int, ...]:
    return choice.depth, choice.area, choice.cost


def _by_area(request: Request) -> tuple[int, ...]:
    return (-min(choice.area for choice in request.choices),)


def _by_side(request: Request) -> tuple[int, ...]:
    return (-min(max(choice.width, choice.depth) for choice in request.choices), *_by_area(request))


def _by_priority(request: Request) -> tuple[int, ...]:
    priority = next((access for access, held in enumerate(request.holds) if held), len(request.holds))
    return (priority, *_by_area(request))


#: The orders: the largest area first, the longest side first, the most wanted first.
_ORDERS: Final[tuple[Order, ...]] = (_by_area, _by_side, _by_priority)


def bottom_left(requests: Sequence[Request], bay: Bay) -> Fit:
    """Return the plain bottom-left fit: as listed, smallest size first, to the front and then to the left."""
    return _Packer(requests, bay).pack(range(len(requests)), _smallest, "front")


def best_of_three(requests: Sequence[Request], bay: Bay) -> Fit:
    """Return the best of three plain bottom-left fits: by area, by the longest side, by priority."""
    packer = _Packer(requests, bay)
    return _best(requests, (packer.pack(packer.order(order), _smallest, "front") for order in _ORDERS))


def plain_fits(requests: Sequence[Request], bay: Bay) -> tuple[Fit, ...]:
    """Return the plain fits, which no other is to be worse than: bottom-left, and the best of three."""
    return bottom_left(requests, bay), best_of_three(requests, bay)


def allowance(requests: Sequence[Request], fits: Iterable[Fit]) -> Bill | None:
    """Return the most that a fit may take: what the best of these plain ones does that place everything.

    Groups are not to be kept together at any price. Without such a plain fit there is no bound.
    """
    plain = [fit for fit in fits if None not in fit.places]
    return bill(requests, _best(requests, plain)) if plain else None


def best_greedy(requests: Sequence[Request], bay: Bay, most: Bill | None = None, *, tight: bool = False) -> Fit:
    """Return the best of all greedy fits: every order with every rule for size and place, and the plain ones.

    Args:
        requests: what is wanted.
        bay: where there is room.
        most: what it may take, as `allowance` gives it.
        tight: whether only those count that take the least floor of all within that.
    """
    packer = _Packer(requests, bay)
    orders = [list(range(len(requests))), *(packer.order(order) for order in _ORDERS), packer.by_group()]
    rules: tuple[Rule, ...] = ("front", "together")
    fits = [packer.pack(order, rank, rule) for order in orders for rank in _RANKS for rule in rules]
    allowed = [fit for fit in fits if bill(requests, fit).within(most)] or fits
    whole = [fit for fit in allowed if None not in fit.places]
    if tight and whole:
        least = min(bill(requests, fit).floor for fit in whole)
        allowed = [fit for fit in whole if bill(requests, fit).floor == least]
    return _best(requests, allowed)


def reworked(
    requests: Sequence[Request], bay: Bay, fit: Fit, *, rounds: int, seed: int = 0, most: Bill | None = None
) -> Fit:
    """Return a fit that is no worse: some requests are taken out and put back otherwise, again and again.

    Args:
        requests: what is wanted.
        bay: where there is room.
        fit: where to begin.
        rounds: how often; the same number gives the same answer.
        seed: of the order in which things are tried.
        most: what it may take.
    """
    packer, random = _Packer(requests, bay), Random(seed)
    loose = [index for index, request in enumerate(requests) if request.pin is None]
    if not loose:
        return fit
    best, reached = fit, score(requests, fit)
    kept, held = best, reached
    for turn in range(rounds):
        out = packer.some(kept, loose, random)
        trial = packer.repacked(kept, out, random)
        result = score(requests, trial)
        if result <= held and bill(requests, trial).within(most):
            kept, held = trial, result
        if held < reached:
            best, reached = kept, held
        elif turn % _PATIENCE == _PATIENCE - 1:
            kept, held = best, reached
    return best


_RANKS: Final[tuple[Rank, ...]] = (_smallest, _lightest, _flattest)

#: Rounds after which reworking goes back to the best.
_PATIENCE: Final = 60

#: So many requests, at most, are taken out at a time.
_MOST_OUT: Final = 7


def _best(requests: Sequence[Request], fits: Iterable[Fit]) -> Fit:
    return min(fits, key=lambda fit: score(requests, fit))


@dataclass
class _Packer:
    """Requests and a bay, with what is worked out of them once."""

    requests: Sequence[Request]
    bay: Bay
    blocks: dict[tuple[int, int], int] = field(default_factory=dict)
    ranked: dict[tuple[int, Rank], list[int]] = field(default_factory=dict)
    bound: list[list[tuple[int, ...]]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Note which ties each request is bound by."""
        self.bound = [[] for _ in self.requests]
        for tie in ties(self.requests):
            for index in tie:
                self.bound[index].append(tie)

    def order(self, order: Order) -> list[int]:
        """Return the requests in an order, equal ones as listed."""
        return sorted(range(len(self.requests)), key=lambda index: order(self.requests[index]))

    def by_group(self) -> list[int]:
        """Return the requests with those of one group one after another, groups of often wanted ones first."""
        first: dict[str, int] = {}
        for place, index in enumerate(self.order(_by_priority)):
            first.setdefault(self.requests[index].group or f"\0{index}", place)
        group = {index: first[request.group or f"\0{index}"] for index, request in enumerate(self.requests)}
        return sorted(self.order(_by_priority), key=lambda index: (not self.requests[index].often, group[index]))

    def choices(self, index: int, rank: Rank) -> list[int]:
        """Return a request's choices in the order of preference."""
        key = index, rank
        if key not in self.ranked:
            choices = self.requests[index].choices
            self.ranked[key] = sorted(range(len(choices)), key=lambda index: (*rank(choices[index]), index))
        return self.ranked[key]

    def under(self, choice: SizeChoice, at: Spot) -> int:
        """Return the bits under a tray."""
        size = choice.width, choice.depth
        if size not in self.blocks:
            self.blocks[size] = block(*size, self.bay.stride)
        return self.blocks[size] << (at[1] * self.bay.stride + at[0])

    def pack(self, order: Iterable[int], rank: Rank, rule: Rule) -> Fit:
        """Return the fit of one order: pinned requests first, then the others."""
        places: list[GridPlace | None] = [None] * len(self.requests)
        free = self.pinned(places)
        for index in order:
            if self.requests[index].pin is None:
                free = self.put(places, index, free, rank, rule)
        return Fit(tuple(places))

    def pinned(self, places: list[GridPlace | None]) -> int:
        """Put the pinned requests where they must stand, each in its lightest size that has room there."""
        free = self.bay.bits
        for index, request in enumerate(self.requests):
            if request.pin is None:
                continue
            x, y = request.pin
            for number in self.choices(index, _lightest):
                choice = request.choices[number]
                corners = self.bay.corners(free, choice.width, choice.depth)
                if 0 <= x < self.bay.across and y >= 0 and corners >> (y * self.bay.stride + x) & 1:
                    places[index] = GridPlace(x, y, number)
                    free &= ~self.under(choice, request.pin)
                    break
        return free

    def put(self, places: list[GridPlace | None], index: int, free: int, rank: Rank, rule: Rule) -> int:
        """Put one request into the first of its sizes that has room, and return what is still free."""
        for number in self.choices(index, rank):
            choice = self.requests[index].choices[number]
            corners = self.bay.corners(free, choice.width, choice.depth)
            if not corners:
                continue
            spot = self.spot(places, index, choice, corners, rule)
            places[index] = GridPlace(*spot, number)
            return free & ~self.under(choice, spot)
        return free

    def spot(self, places: list[GridPlace | None], index: int, choice: SizeChoice, corners: int, rule: Rule) -> Spot:
        """Return the best spot of these corners."""
        boxes = self.boxes(places, index) if rule == "together" else []
        if not boxes:
            y, x = divmod((corners & -corners).bit_length() - 1, self.bay.stride)
            return x, y
        often = self.requests[index].often
        width, depth = choice.width, choice.depth
        best, spot = (1 << 62, 0, 0), (0, 0)
        for x, y in self.bay.spots(self.snug(corners)):
            grown = 0
            for left, front, right, back in boxes:
                grown += max(right, x + width) - min(left, x) + max(back, y + depth) - min(front, y)
            rank = (y, grown, x) if often else (grown, y, x)
            if rank < best:
                best, spot = rank, (x, y)
        return spot

    def snug(self, corners: int) -> int:
        """Return the corners where a tray has something beside it and something before or behind it."""
        across, back = self.bay.step, self.bay.step * self.bay.stride
        beside = ~(corners << across) | ~(corners >> across)
        before = ~(corners << back) | ~(corners >> back)
        return corners & beside & before

    def boxes(self, places: list[GridPlace | None], index: int) -> list[tuple[int, int, int, int]]:
        """Return the boxes around what a request belongs to, as far as that has places."""
        rectangles = []
        for tie in self.bound[index]:
            sides = [
                (place.x, place.y, place.x + choice.width, place.y + choice.depth)
                for other in tie
                if other != index and (place := places[other]) is not None
                for choice in (self.requests[other].choices[place.choice],)
            ]
            if sides:
                left, front, right, back = zip(*sides, strict=True)
                rectangles.append((min(left), min(front), max(right), max(back)))
        return rectangles

    def some(self, fit: Fit, loose: list[int], random: Random) -> list[int]:
        """Return some requests to take out: all without a place, and some that stand near each other."""
        out = [index for index in loose if fit.places[index] is None]
        placed = [index for index in loose if fit.places[index] is not None]
        if not placed:
            return out
        count = min(random.randint(2, _MOST_OUT), len(placed))
        if random.random() < 0.3:  # noqa: PLR2004 - own choice
            return out + random.sample(placed, count)
        seed = random.choice(placed)
        if self.bound[seed] and random.random() < 0.5:  # noqa: PLR2004 - own choice
            tie = random.choice(self.bound[seed])
            near = [index for index in tie if index in placed]
        else:
            near = []
        middle = self.middle(fit, seed)
        rest = sorted(
            (index for index in placed if index not in near),
            key=lambda index: sum(abs(a - b) for a, b in zip(self.middle(fit, index), middle, strict=True)),
        )
        return out + (near + rest)[:count]

    def middle(self, fit: Fit, index: int) -> Spot:
        """Return twice the middle of a placed request."""
        place = fit.places[index]
        assert place is not None  # noqa: S101 - asked of placed ones only
        choice = self.requests[index].choices[place.choice]
        return 2 * place.x + choice.width, 2 * place.y + choice.depth

    def repacked(self, fit: Fit, out: list[int], random: Random) -> Fit:
        """Return the fit with these taken out and put back, in an order and by rules of chance."""
        places = list(fit.places)
        for index in out:
            places[index] = None
        free = self.bay.bits
        for index, place in enumerate(places):
            if place is not None:
                free &= ~self.under(self.requests[index].choices[place.choice], (place.x, place.y))
        order = list(out)
        random.shuffle(order)
        if random.random() < 0.5:  # noqa: PLR2004 - own choice
            order.sort(key=lambda index: random.choice(_ORDERS)(self.requests[index])[0])
        rule: Rule = "front" if random.random() < 0.3 else "together"  # noqa: PLR2004 - own choice
        for index in order:
            free = self.put(places, index, free, random.choice(_RANKS), rule)
        return Fit(tuple(places))

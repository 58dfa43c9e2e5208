"""Held things: what the trays of the list are said to hold, where it lies in them, and what does not fit.

A hold that fits in part is kept in part; the rest is reported, and not placed elsewhere.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from worker.layout.items.bisection import most_with
from worker.layout.items.held.compartment_fit import Lying, Share, TrayRules, arrangement
from worker.layout.items.held.held_stops import stoppable, with_stops
from worker.layout.items.held.hold_shortage import misfit
from worker.layout.items.item_trays import ListedItem
from worker.layout.model.plan import PlanWarning, Stored, Unplaced
from worker.layout.model.shapes import Post, TrayShape
from worker.layout.placement.columns.assortment import LABEL_AIR, UNDER_FOOT
from worker.layout.placement.columns.objective import WEIGHTS
from worker.layout.storage.loose import ramp_radius
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.layout.storage.tray_option import content_box
from worker.layout.storage.ways import Kind, natural_ways
from worker.layout.tray.compartments import Compartment, compartments
from worker.layout.tray.font import least_cap, missing
from worker.layout.tray.grip_lips import grip_outline
from worker.layout.tray.interior import on_grid, tray_room
from worker.layout.tray.part_mark import text_size
from worker.layout.tray.tray_builder import tray_size
from worker.spec import Spec
from worker.spec.drawer.tray import Tray
from worker.spec.items.item import Item

__all__ = ["HeldTray", "Holding", "fill_tray", "held_things", "not_held"]

#: A tray is as wide as any drawer's grid, as far as the sizes of its things go.
_SPAN: Final = (1, 1)

#: Most characters of a label.
_LONGEST_LABEL: Final = 40


@dataclass(frozen=True, slots=True)
class Holding:
    """Things of an item that a tray is said to hold: how many, the JSON Pointers of the item and of the entry."""

    item: Item
    count: int
    item_pointer: str
    pointer: str
    compartment: tuple[int, int]


@dataclass(frozen=True, slots=True)
class _Filled:
    """A compartment with the holdings in it, as far as they fit, and whether these may have stops."""

    lying: Lying
    holdings: tuple[Holding, ...]
    stop: bool = False


@dataclass(frozen=True)
class HeldTray:
    """A tray of the list with the labels and stops of what it holds, and what of it does not fit.

    ``ramp`` is the radius of the finger ramp that suits it; None where not all lies loose in one row.
    """

    tray: Tray
    ground: DrawerLimits
    filled: tuple[_Filled, ...]
    unplaced: tuple[Unplaced, ...]
    warnings: tuple[PlanWarning, ...]
    ramp: float | None

    @property
    def items(self) -> tuple[Item, ...]:
        """The items in it, by compartment."""
        return tuple(holding.item for filled in self.filled for holding in filled.holdings)

    def stored(self, placement: int, corner: tuple[float, float, float]) -> Iterator[Stored]:
        """Yield what lies in it.

        Args:
            placement: the tray's index in the drawer's placements.
            corner: where its part's frame begins, in the drawer's.
        """
        for filled in self.filled:
            names = [holding.item.name for holding in filled.holdings]
            contents = filled.lying.filled(names, self.ground, stop=filled.stop)
            for holding, lane, (content, _) in zip(filled.holdings, filled.lying.lanes, contents, strict=True):
                low, size = content_box(content)
                x, y, z = (on_grid(a + b) for a, b in zip(corner, low, strict=True))
                yield Stored(
                    item=holding.item.name,
                    pointer=holding.item_pointer,
                    count=content.count,
                    capacity=content.capacity,
                    storage=lane.storage,
                    shape=holding.item.plain,
                    placement=placement,
                    at=(x, y, z),
                    size=(on_grid(size[0]), on_grid(size[1]), on_grid(size[2])),
                    label=holding.item.label_text,
                )


def held_things(spec: Spec) -> tuple[Mapping[tuple[int, int], tuple[Holding, ...]], Mapping[str, int]]:
    """Return what each tray is said to hold, by the indices of drawer and tray, and how many of each item are held.

    The counts are by the item's JSON Pointer; an item of which things are held may have some left.
    """
    counts: Counter[str] = Counter()
    for drawer, _, tray in spec.trays():
        for hold in tray.hold:
            pointer, _ = _listed(spec, drawer, hold.item)
            counts[pointer] += hold.count or 0
    every: dict[tuple[int, int], tuple[Holding, ...]] = {}
    for drawer, index, tray in spec.trays():
        holdings: list[Holding] = []
        for number, hold in enumerate(tray.hold):
            pointer, item = _listed(spec, drawer, hold.item)
            count = hold.count
            if count is None:
                count = item.count - counts[pointer]
                counts[pointer] = item.count
            at = f"/drawers/{drawer}/trays/{index}/hold/{number}"
            holdings.append(Holding(item, count, pointer, at, hold.compartment))
        if holdings:
            every[drawer, index] = tuple(holdings)
    return every, counts


def not_held(listed: Iterable[ListedItem], counts: Mapping[str, int]) -> tuple[ListedItem, ...]:
    """Return the items of a list with what no tray holds of them; those that are all held are left out.

    Args:
        listed: the items with their JSON Pointers.
        counts: how many are held, by pointer.
    """
    rest = ((pointer, item, item.count - counts.get(pointer, 0)) for pointer, item in listed)
    return tuple(
        (pointer, item if count == item.count else item.model_copy(update={"count": count}))
        for pointer, item, count in rest
        if count
    )


def _listed(spec: Spec, drawer: int, name: str) -> tuple[str, Item]:
    listed = spec.held_item(drawer, name)
    assert listed is not None  # noqa: S101 - the spec was checked
    return listed


def fill_tray(  # noqa: PLR0917 - what a tray and its place say
    spec: Spec,
    drawer: int,
    tray: Tray,
    holdings: Sequence[Holding],
    shape: TrayShape,
    height: float,
    *,
    stops: bool = True,
) -> HeldTray:
    """Return what of these holdings a tray has room for, compartment by compartment.

    Args:
        spec: the job.
        drawer: index of the tray's drawer.
        tray: the tray.
        holdings: what it is said to hold.
        shape: the tray's, as it is made.
        height: how high its things may reach above its feet, mm.
        stops: whether what could topple gets stops.
    """
    own = spec.drawers[drawer]
    ground = replace(DrawerLimits.of(spec, _SPAN, height), wall=tray.wall, floor=tray.floor)
    rules = TrayRules(ground, tray.rim, WEIGHTS[spec.layout.profile])
    filled: list[_Filled] = []
    unplaced: list[Unplaced] = []
    every = _compartments(spec, tray, ground, shape)
    for compartment in every:
        inside = [holding for holding in holdings if compartment.covers(holding.compartment)]
        kept: list[Holding] = []
        for holding in inside:
            others = [(other.item, other.count) for other in kept]
            count = _most(compartment, others, (holding.item, holding.count), rules)
            if count:
                kept.append(replace(holding, count=count))
            if count < holding.count:
                lack = misfit(tray, compartment, [*others, (holding.item, holding.count)], rules, count)
                missing = holding.count - count
                reason = f"{lack.reason[0].upper()}{lack.reason[1:]}."
                unplaced.append(
                    Unplaced(holding.item.name, holding.pointer, missing, reason, lack.remedy, own.name, "pinned")
                )
        lying = arrangement(compartment, [(holding.item, holding.count) for holding in kept], rules) if kept else None
        if lying is not None:
            parted = stoppable(tray, lying, ground) if stops else None
            filled.append(_Filled(parted or lying, tuple(kept), parted is not None))
    labelled = _labelled(tray, every, filled, least_cap(ground.line_width))
    lacking = tuple(_lacking(labelled, filled))
    highest = max(compartment.high for compartment in every)
    stopped = with_stops(labelled, shape, [part.lying for part in filled if part.stop], ground, highest)
    if stopped is None:
        return fill_tray(spec, drawer, tray, holdings, shape, height, stops=False)
    ramp = None if shape.posts else _ramp(tray, filled, ground)
    return HeldTray(stopped, ground, tuple(filled), tuple(unplaced), lacking, ramp)


def _ramp(tray: Tray, filled: Sequence[_Filled], ground: DrawerLimits) -> float | None:
    """Return the radius of a ramp along the front, as a tray that is laid out for such things has it."""
    lanes = [lane for part in filled for lane in part.lying.lanes]
    if not lanes or tray.grid[1] > 1 or any(lane.goods is None or lane.goods.soft for lane in lanes):
        return None
    room = min(part.lying.compartment.size[1] for part in filled)
    return ramp_radius(max(lane.stack for lane in lanes), room - 2.0 * ground.margin(0.0))


def _labelled(tray: Tray, every: Sequence[Compartment], filled: Sequence[_Filled], least: float) -> Tray:
    """Return a tray with the labels of what it holds on its ledge, where it has one without text."""
    if tray.label_ledge is None or tray.labels or (tray.text is not None and tray.text.face == "ledge"):
        return tray
    holdings = {part.lying.compartment.place: part.holdings for part in filled}
    at_back = [room for room in every if room.place[1] + room.reach[1] == tray.grid[1]]
    labels = tuple(
        _label(room, holdings.get(room.place, ()), least) for room in sorted(at_back, key=lambda room: room.place)
    )
    return tray.model_copy(update={"labels": labels}) if any(labels) else tray


def _label(room: Compartment, holdings: Sequence[Holding], least: float) -> str | None:
    """Return the label of what lies in a compartment, if capitals of ``least`` mm fit its part of the ledge."""
    texts = dict.fromkeys(holding.item.label_text for holding in holdings if holding.item.label_text is not None)
    label = ", ".join(texts)
    if not label or len(label) > _LONGEST_LABEL or missing(label):
        return None
    return label if text_size(label, least)[0] + LABEL_AIR <= room.size[0] else None


def _lacking(tray: Tray, filled: Sequence[_Filled]) -> Iterator[PlanWarning]:
    """Yield a warning for each item that asks for a label and has none on its tray."""
    texts = {text for label in tray.labels if label is not None for text in (label, *label.split(", "))}
    if tray.text is not None:
        texts.add(tray.text.text)
    for holding in (holding for part in filled for holding in part.holdings):
        label = holding.item.label_text
        if label is not None and label not in texts:
            why = "has no label ledge" if tray.label_ledge is None else "has no room for it on its label ledge"
            yield PlanWarning(holding.pointer, f"Tray {tray.name!r} carries no label {label!r}: it {why}.")


def _compartments(spec: Spec, tray: Tray, ground: DrawerLimits, shape: TrayShape) -> tuple[Compartment, ...]:
    room = tray_room(tray, joint=ground.joint, pitch=spec.grid.pitch, line_width=spec.line_width_of("tray"), pointer="")
    return compartments(
        room,
        shape.walls,
        ramp=shape.ramp,
        ledge=shape.ledge,
        overhang=ground.rim_overhang(tray.rim),
        settling=UNDER_FOOT if tray.rim == "stacking" else 0.0,
        posts=(*shape.posts, *_below_grips(shape)),
    )


def _below_grips(shape: TrayShape) -> Iterator[Post]:
    """Yield what grips cover as if posts stood there: nothing lies below them."""
    outer = (tray_size(shape)[0], tray_size(shape)[1])
    for grip in shape.grips:
        yield Post(grip_outline(grip, outer, shape.wall), grip.top)


def _most(compartment: Compartment, others: Sequence[Share], share: Share, rules: TrayRules) -> int:
    """Return how many of these things fit beside others, up to all, kept in a way that suits all of them."""
    item, whole = share
    ways = {way for way, _ in natural_ways(Kind.of(item, whole))}

    def fits(count: int) -> bool:
        if not {way for way, _ in natural_ways(Kind.of(item, count))} <= ways:
            return False
        return arrangement(compartment, [*others, (item, count)], rules) is not None

    return whole if fits(whole) else most_with(0, whole, fits)

"""Item trays: trays for the items of a job with their positions, and spare trays for free cells."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Protocol, TypeAlias

from worker.layout.floor.print_bed import Bed
from worker.layout.items.drawer_allocation import Allocation, allocate
from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_stock import Settled, Stock, place_pinned
from worker.layout.items.filling.drawer_task import Spread, one_by_one
from worker.layout.items.filling.tray_sizing import TraySizing, WorkExhausted
from worker.layout.items.free_floor import largest_free
from worker.layout.items.reasons.remedies import Trials, remedy
from worker.layout.items.reasons.shortage import Shortage, brief_shortage, shortage
from worker.layout.model.plan import Lattice, PlanWarning, Stored, Unplaced
from worker.layout.placement.bay import Bay, Spot
from worker.layout.placement.columns.objective import WEIGHTS, worth
from worker.layout.storage.sizing_rules import FRAME_AIR, DrawerLimits
from worker.layout.storage.tray_option import content_box
from worker.layout.tray.interior import on_grid
from worker.spec.drawer.tray import Tray
from worker.spec.items.item import Item
from worker.spec.items.layout import Effort
from worker.spec.job import Spec

__all__ = [
    "MOST_REASON_SIZINGS",
    "Contents",
    "Furniture",
    "ItemTray",
    "ListedItem",
    "furnish",
    "on_whole",
    "reserved",
    "site_of",
    "spares",
]

#: A spare tray is no longer than this, in half cells: of larger ones nobody has any use (own choice).
_LONGEST_SPARE: Final = 6

#: A spare tray's height where no other tray stands, as a share of the drawer's free height (own choice).
_SPARE_HEIGHT: Final = 0.5

#: Sizings of trays to find out why items have no place, at most; those that are worth most come first. As many more are
#: spent on what is plain to see of the others.
MOST_REASON_SIZINGS: Final = 1_500
_NO_REASON: Final = "It has no place; finding out why would have taken too much work."

_CUT_SHORT: Final = (
    "There are so many items that not all ways to put them together were tried. Use more drawers or fewer items."
)

#: An item that a tray is wanted for, after its JSON Pointer.
ListedItem: TypeAlias = tuple[str, Item]


class Furniture(Protocol):
    """A tray in its place: front left half cell, height over the drawer's bottom, JSON Pointer."""

    @property
    def tray(self) -> Tray:
        """The tray."""

    @property
    def at(self) -> Spot:
        """Its front left half cell."""

    @property
    def z(self) -> float:
        """How high over the drawer's bottom it stands."""

    @property
    def pointer(self) -> str:
        """JSON Pointer of what it is there for."""

    def stored(self, placement: int, corner: tuple[float, float, float]) -> Iterable[Stored]:
        """Return what lies in it.

        Args:
            placement: the tray's index in the drawer's placements.
            corner: where its part's frame begins, in the drawer's.
        """


@dataclass(frozen=True)
class ItemTray:
    """A tray for items, in its place: front left half cell, height over the drawer's bottom, JSON Pointer.

    ``settled`` says what lies in it; a spare tray has none.
    """

    tray: Tray
    at: Spot
    z: float
    pointer: str
    settled: Settled | None = None
    pointers: tuple[str, ...] = ()

    def stored(self, placement: int, corner: tuple[float, float, float]) -> Iterator[Stored]:
        """Yield what lies in it.

        Args:
            placement: the tray's index in the drawer's placements.
            corner: where its part's frame begins, in the drawer's.
        """
        if self.settled is None:
            return
        option = self.settled.option
        for index, (item, pointer, storage) in enumerate(
            zip(self.settled.items, self.pointers, option.storages, strict=True)
        ):
            # a compartment for each, in order; two items of different lists may have one name
            for lying in option.content[index : index + 1]:
                low, size = content_box(lying)
                yield Stored(
                    item=item.name,
                    pointer=pointer,
                    count=lying.count,
                    # with pockets there are as many as things
                    capacity=lying.capacity if option.recess is None else lying.count,
                    storage=storage,
                    shape=item.plain,
                    placement=placement,
                    at=_three(a + b for a, b in zip(corner, low, strict=True)),
                    size=_three(size),
                    label=item.label_text,
                )


@dataclass(frozen=True)
class Contents:
    """For each drawer the trays of items, and the spare ones; the items that have no place; what was not searched."""

    trays: tuple[tuple[Furniture, ...], ...]
    unplaced: tuple[Unplaced, ...]
    warnings: tuple[PlanWarning, ...] = ()


def site_of(spec: Spec, index: int, lattice: Lattice, taken: Sequence[tuple[Spot, Spot]], bed: Bed) -> Site:
    """Return a drawer as far as items go.

    Args:
        spec: the job.
        index: the drawer's.
        lattice: its grid.
        taken: what stands in it already, front left half cells and sizes.
        bed: where trays are printed.
    """
    drawer = spec.drawers[index]
    # without a floor no half cell is free
    across, back = (max(along, 1) for along in lattice.span)
    free = [[False] * across for _ in range(back)]
    for cell in lattice.cells:
        for row in free[cell.y : cell.y + cell.depth]:
            row[cell.x : cell.x + cell.width] = [True] * cell.width
    empty = Bay(tuple(tuple(row) for row in free), 1 if spec.grid.half_cells else 2)
    printed = spec.printer_of("tray").bed[2] + FRAME_AIR
    ground = DrawerLimits.of(spec, (across, back), min(drawer.height, printed))
    return Site(
        drawer.name,
        ground,
        empty.less(taken),
        drawer.copies,
        drawer.height,
        bed,
        joints=spec.joints,
        layout=spec.layout,
        empty=empty,
    )


def reserved(items: Iterable[Item], site: Site) -> tuple[tuple[Spot, Spot], ...]:
    """Return the half cells that pinned items need at the least: front left half cells, and sizes."""
    pinned, _ = place_pinned(site.assortment([item for item in items if item.at is not None]), site.bay)
    return tuple((at, column.halves) for column, at in pinned)


def on_whole(lattice: Lattice, at: Spot, halves: Spot) -> bool:
    """Return whether a tray stands on whole cells only: otherwise it has half feet."""
    if any(along % 2 for along in (*at, *halves)):
        return False
    whole = {(cell.x, cell.y) for cell in lattice.cells if cell.width == cell.depth == 2}  # noqa: PLR2004 - half cells
    columns, rows = (range(start, start + size, 2) for start, size in zip(at, halves, strict=True))
    return all((x, y) in whole for x in columns for y in rows)


def furnish(
    spec: Spec,
    sites: Sequence[Site],
    of_job: Sequence[ListedItem],
    own: Sequence[Sequence[ListedItem]],
    effort: Effort,
    *,
    spread: Spread = one_by_one,
    repitched: Iterable[Site] = (),
) -> Contents:
    """Return the trays for the items of a job that have none yet.

    Args:
        spec: the job.
        sites: its drawers, each with what is free in it.
        of_job: the items that may go into any drawer.
        own: the items that each drawer has of its own.
        effort: how far to search.
        spread: runs the tasks of drawers.
        repitched: the drawer of a job that has one, on grids of other pitches, for remedies.
    """
    items, lists = [item for _, item in of_job], [[item for _, item in pairs] for pairs in own]
    result = allocate(items, sites, lists, effort, spread)
    # equal items may stand in two lists: each is known as the object that it is
    pointers = {id(item): pointer for pairs in (of_job, *own) for pointer, item in pairs}
    trays = tuple(tuple(_item_tray(settled, pointers) for settled in stock.settled) for stock in result.stocks)
    trials = Trials.of(spec, result.stocks, effort, repitched)
    unplaced = tuple(_unplaced(spec, result, pointers, {id(item) for _, item in of_job}, trials))
    cut_short = (index for index, stock in enumerate(result.stocks) if stock.cut_short)
    return Contents(trays, unplaced, tuple(PlanWarning(f"/drawers/{index}", _CUT_SHORT) for index in cut_short))


def _item_tray(settled: Settled, pointers: dict[int, str]) -> ItemTray:
    where = tuple(pointers[id(item)] for item in settled.items)
    tray = settled.option.tray((settled.at[0] / 2.0, settled.at[1] / 2.0))
    return ItemTray(tray, settled.at, settled.z, where[0], settled, where)


def spares(site: Site, bay: Bay, heights: Iterable[float], pointer: str) -> Iterator[ItemTray]:
    """Yield spare trays that cover what is left over.

    Args:
        site: the drawer.
        bay: what is free in it.
        heights: of the trays that stand on its floor: spare ones are as high as the middle one.
        pointer: JSON Pointer of what asks for them.
    """
    standing = sorted(heights)
    height = standing[len(standing) // 2] if standing else float(round(site.ground.limit * _SPARE_HEIGHT))
    least = site.ground.stand(0.0, 0.0, "straight")
    if least is None:
        return
    height = min(max(height, least[0]), site.ground.limit)
    for at, halves in _rectangles(bay, site):
        width, depth = (along / 2.0 for along in halves)
        tray = Tray(
            name=f"spare {width:g} x {depth:g}",
            cells=(width, depth),
            height=height,
            at=(at[0] / 2.0, at[1] / 2.0),
            rim="straight",
            wall=site.ground.wall,
            floor=site.ground.floor,
        )
        yield ItemTray(tray, at, 0.0, pointer)


def _rectangles(bay: Bay, site: Site) -> Iterator[tuple[Spot, Spot]]:
    """Yield what is free as rectangles that a tray can be printed for, the largest first: front left, and size."""
    step = bay.step
    while bay.bits:
        spot, sides = largest_free(bay)
        width, depth = (_cut(side, step) for side in sides)
        while not site.prints((width, depth)) and max(width, depth) > step:
            width, depth = (width - step, depth) if width >= depth else (width, depth - step)
        if site.prints((width, depth)):
            yield spot, (width, depth)
        bay = bay.less([(spot, (width, depth))])


def _cut(length: int, step: int) -> int:
    """Return the length of the first of as few equal parts as are no longer than a spare tray may be."""
    parts = -(-length // _LONGEST_SPARE)
    return -(-length // (parts * step)) * step


def _unplaced(
    spec: Spec, result: Allocation, pointers: dict[int, str], of_job: Collection[int], trials: Trials
) -> list[Unplaced]:
    """Return the items of which some have no place, those of the drawers first.

    Remedies are tried for what is worth most first, as long as the effort allows.
    """
    lacks = [
        (item, count, [stock])
        for stock in result.stocks
        for item, count in stock.missing
        if id(item) not in of_job
    ]  # fmt: skip
    lacks += [(item, count, list(result.stocks)) for item, count in result.left]
    weights = WEIGHTS[spec.layout.profile]
    remedies: dict[int, str | None] = {}
    reasons: dict[int, Shortage] = {}
    spent = 0
    for item, count, own in sorted(lacks, key=lambda lack: -worth(lack[0], weights)):
        rest = item if count == item.count else item.model_copy(update={"count": count})
        reason, work = _reason(spec, rest, own, trials.sizing, MOST_REASON_SIZINGS - spent)
        spent += work
        if reason is not None:
            reasons[id(item)] = reason
            remedies[id(item)] = remedy(item, rest, own, trials)
        elif spent < 2 * MOST_REASON_SIZINGS:
            before = trials.sizing.work
            brief = brief_shortage(spec, rest, own, trials.sizing)
            spent += trials.sizing.work - before
            if brief is not None:
                reasons[id(item)] = brief
    return [
        Unplaced(
            item.name,
            pointers[id(item)],
            count,
            reasons[id(item)].reason if id(item) in reasons else _NO_REASON,
            remedies.get(id(item)),
            None if id(item) in of_job else own[0].site.name,
            reasons[id(item)].cause if id(item) in reasons else None,
        )
        for item, count, own in lacks
    ]


def _reason(spec: Spec, rest: Item, own: Sequence[Stock], sizing: TraySizing, most: int) -> tuple[Shortage | None, int]:
    """Return why an item has no place, None if that takes more than ``most`` sizings, and how many it took."""
    before = sizing.work
    if most <= 0:
        return None, 0
    sizing.limit = before + most
    try:
        return shortage(spec, rest, own, sizing), sizing.work - before
    except WorkExhausted:
        return None, sizing.work - before
    finally:
        sizing.limit = None


def _three(lengths: Iterator[float] | Sequence[float]) -> tuple[float, float, float]:
    x, y, z = lengths
    return on_grid(x), on_grid(y), on_grid(z)

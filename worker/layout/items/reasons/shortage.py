"""Shortage: the limit that keeps an item out, found by lifting one limit after another and sizing the item again."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil

from worker.layout.floor.print_bed import Bed
from worker.layout.items.bisection import least_with
from worker.layout.items.filling.drawer_site import Site
from worker.layout.items.filling.drawer_stock import Stock, fill_drawer
from worker.layout.items.filling.tray_sizing import ANY_HEIGHT, ANY_SPAN, TraySizing, with_height, without_bed
from worker.layout.items.free_floor import cells_text, largest_free
from worker.layout.items.reasons.in_pieces import why_not_in_pieces
from worker.layout.placement.bay import Bay, Spot, half_cells
from worker.layout.placement.columns.tray_columns import Column
from worker.layout.storage.poses import longest, poses
from worker.layout.storage.sizing_rules import FRAME_AIR
from worker.spec import Spec
from worker.spec.items.item import Item
from worker.spec.manifest.drawers import Cause

__all__ = ["Shortage", "brief_shortage", "least_bed", "least_height", "pinned_rectangles", "shortage", "with_bed"]


@dataclass(frozen=True, slots=True)
class Shortage:
    """Why an item has no place: the limit in the way, and a sentence that names its figures."""

    cause: Cause
    reason: str


def shortage(spec: Spec, item: Item, own: Sequence[Stock], sizing: TraySizing) -> Shortage:
    """Return why things of an item have no place.

    Args:
        spec: the job.
        item: the item; its count is how many have no place.
        own: the drawers that it might have gone into, as they are filled.
        sizing: the trays sized so far.

    Raises:
        WorkExhausted: if that takes more sizings than the limit of ``sizing`` allows.
    """
    sized = [(stock, trays) for stock in own if (trays := sizing.trays(item, stock.site))]
    if sized:
        return _unplaced(spec, item, sized)
    if any(_fits_alone(item, replace(stock.site, bay=stock.site.floor), sizing) for stock in own):
        free = max((largest_free(stock.left)[1] for stock in own), key=lambda size: size[0] * size[1])
        place = "none is free" if free == (0, 0) else f"the largest free place has {cells_text(free)} cells"
        return Shortage("floor", f"No floor is left: all of them need more than one tray, and {place}.")
    most = min(ANY_HEIGHT, spec.printer_of("tray").bed[2] + FRAME_AIR)
    return _unsized(item, list(_distinct(stock.site for stock in own)), most, sizing)


def brief_shortage(spec: Spec, item: Item, own: Sequence[Stock], sizing: TraySizing) -> Shortage | None:
    """Return why things of an item have no place as far as one sizing for each drawer tells; None where it does not.

    Args:
        spec: the job.
        item: the item; its count is how many have no place.
        own: the drawers that it might have gone into, as they are filled.
        sizing: the trays sized so far.
    """
    sized = [(stock, trays) for stock in own if (trays := sizing.trays(item, stock.site))]
    if sized:
        return _unplaced(spec, item, sized)
    low = min(pose.size[2] for pose in poses(item.plain))
    room = max(stock.site.ground.limit - stock.site.ground.floor_top for stock in own)
    if low > room:
        text = f"it is {low:g} mm high at the least, and over the floor of a tray there are {room:g}"
        return Shortage("height", f"It is too tall: {text}.")
    if not any(stock.left.bits for stock in own):
        return Shortage("floor", "No floor is left.")
    return None


def _fits_alone(item: Item, site: Site, sizing: TraySizing) -> bool:
    """Return whether all things of an item have room in a drawer that is free, in one tray or in several."""
    if sizing.trays(item, site):
        return True
    sizing.check_limit()
    alone = TraySizing()
    filled = fill_drawer(site, [item.model_copy(update={"at": None})], moves=0, settle=False, sizing=alone)
    sizing.in_fills += alone.count
    return not filled.missing


def _unplaced(spec: Spec, item: Item, sized: Sequence[tuple[Stock, Sequence[Column]]]) -> Shortage:
    """Return what is in the way of an item of which trays can be made."""
    needed = min((trays[0] for _, trays in sized), key=lambda tray: tray.area)
    needs = f"its tray takes {cells_text(needed.halves)} cells"
    if item.at is not None:
        at = f"{item.at[0]:g}, {item.at[1]:g}"
        return Shortage("pinned", f"No room at its place: {needs}, and not all of them are free from {at} on.")
    where = "the drawer" if len(sized) == 1 else "any drawer"
    if not any(_has_place(trays, stock.site.floor) for stock, trays in sized):
        return Shortage("shape", f"The outline of {where} has no place for it: {needs}.")
    if not any(
        _has_place(trays, stock.site.floor.less(rectangle for _, rectangle in pinned_rectangles(spec, stock)))
        for stock, trays in sized
    ):
        return Shortage("pinned", f"Trays with a place of their own leave none for it in {where}: {needs}.")
    free = max((largest_free(stock.left)[1] for stock, _ in sized), key=lambda size: size[0] * size[1])
    if free == (0, 0):
        return Shortage("floor", f"No floor is left: {needs}, and none is free.")
    if free[0] >= needed.halves[0] and free[1] >= needed.halves[1]:  # between the places that the grid allows
        return Shortage("floor", f"No floor is left: {needs}, and no free place is so large.")
    return Shortage("floor", f"No floor is left: {needs}, and the largest free place has {cells_text(free)}.")


def _has_place(trays: Sequence[Column], bay: Bay) -> bool:
    return any(bay.corners(bay.bits, *tray.halves) for tray in trays)


def pinned_rectangles(spec: Spec, stock: Stock) -> Iterator[tuple[str, tuple[Spot, Spot]]]:
    """Yield the trays of a drawer that have a place of their own: name, front left half cell and size in half cells."""
    for drawer in spec.drawers:
        if drawer.name == stock.site.name:
            for tray in drawer.trays:
                if tray.at is not None:
                    yield tray.name, (half_cells(tray.at), half_cells(tray.cells))
    for column, at in stock.standing:
        item = stock.assortment.items[column.lanes[0][0]]
        if item.at is not None:
            yield item.name, (at, column.halves)


def _unsized(item: Item, sites: Sequence[Site], most: float, sizing: TraySizing) -> Shortage:
    """Return what is in the way of every tray for an item; ``most`` is the height in mm that the printer serves."""
    whole = [replace(site, joints=False) for site in sites]  # a tray in pieces may need more height than its things do
    single = (
        _low_printer(item, sites, sizing)
        or _low_drawer(item, whole, most, sizing)
        or _small_bed(item, sites, whole, sizing)
        or (_low_drawer(item, sites, most, sizing) if sites != whole else None)
        or _small_drawer(item, sites, sizing)
    )
    if single is not None:
        return single
    for site in sites:
        free = without_bed(_long(with_height(site, ANY_HEIGHT)))
        if trays := sizing.trays(item, free):
            return _several(site, trays)
        if _fits_alone(item, free, sizing):
            return Shortage("shape", "All of them need more floor, height and bed than there is.")
    if item.storage is not None:
        return Shortage("access", f"No tray keeps it as `{item.storage}` so that a finger reaches each of them.")
    long = longest(item.plain)
    return Shortage("access", f"No tray keeps it so that a finger reaches each of them: it is {long:g} mm long.")


def _low_printer(item: Item, sites: Sequence[Site], sizing: TraySizing) -> Shortage | None:
    """Return the printer's height as what is in the way, if it is."""
    for site in sites:
        if site.height is not None and site.ground.height < site.height:
            needed = least_height(site, site.height, lambda free: _fits_alone(item, free, sizing))
            if needed is not None:
                high = site.ground.height - FRAME_AIR
                text = f"its tray and what stands out of it need {needed - FRAME_AIR:g} mm, and it prints {high:g}"
                return Shortage("bed", f"The printer is too low: {text}.")
    return None


def _low_drawer(item: Item, sites: Sequence[Site], most: float, sizing: TraySizing) -> Shortage | None:
    """Return the drawer's height as what is in the way, if it is."""
    needed = [
        (high, site)
        for site in sites
        if (high := least_height(site, most, lambda free: _fits_alone(item, free, sizing)))
    ]
    if not needed:
        return None
    high, site = min(needed, key=lambda pair: pair[0])
    where = "the drawer" if len(sites) == 1 else f"drawer {site.name!r}, which is wide enough,"
    return Shortage(
        "height", f"It is too tall: it needs {high} mm with its tray, and {where} has {site.ground.height:g}."
    )


def _small_bed(item: Item, sites: Sequence[Site], whole: Sequence[Site], sizing: TraySizing) -> Shortage | None:
    """Return the printer's bed as what is in the way of trays that are printed whole, if it is."""
    beds = [(bed, site) for site in whole if (bed := least_bed(site, lambda free: _fits_alone(item, free, sizing)))]
    if not beds:
        return None
    (wide, deep), site = min(beds, key=lambda pair: pair[0])
    takes = "{:g} x {:g}".format(*_room(site))
    text = f"The bed is too small: it takes {takes} mm, and its tray needs one of {wide} x {deep} mm."
    why = why_not_in_pieces(item, sites, sizing)
    return Shortage("bed", text if why is None else f"{text} {why}")


def _small_drawer(item: Item, sites: Sequence[Site], sizing: TraySizing) -> Shortage | None:
    """Return the drawer's length and width as what is in the way, if they are."""
    every = [(tray, site) for site in sites for tray in sizing.trays(item, _long(site))]
    where = "the drawer" if len(sites) == 1 else "any drawer"
    if every:
        tray, site = min(every, key=lambda pair: (max(pair[0].halves), pair[0].area))
        where = where if len(sites) == 1 else f"drawer {site.name!r}"
        return Shortage("shape", f"It is too large: its tray takes {_fit_text(tray, site, where)}.")
    if any(_fits_alone(item, _long(site), sizing) for site in sites):
        return Shortage("shape", f"All of them need more floor than {where} has.")
    return None


def _several(site: Site, trays: Sequence[Column]) -> Shortage:
    """Return more limits than one as what is in the way: no single one helps when it is lifted."""
    tray = min(trays, key=lambda tray: (max(tray.halves), tray.top, tray.area))
    wide, deep = _outer(site, tray)
    cause: Cause = "shape"
    if max(tray.halves) <= max(site.ground.span):
        cause = "height" if site.prints(tray.halves) else "bed"
    sizes = f"{cells_text(tray.halves)} cells, {wide} x {deep} mm of bed and {ceil(tray.top + FRAME_AIR)} mm of height"
    return Shortage(cause, f"More than one limit is in the way: its tray takes {sizes}.")


def _fit_text(tray: Column, site: Site, where: str) -> str:
    return f"{cells_text(tray.halves)} cells, and {where} has {cells_text(site.ground.span)}"


def _long(site: Site) -> Site:
    """Return a drawer longer and wider than any."""
    open_ = Bay.open(ANY_SPAN, ANY_SPAN, step=site.bay.step)
    return replace(site, ground=replace(site.ground, span=(ANY_SPAN, ANY_SPAN)), bay=open_)


def _distinct(sites: Iterator[Site]) -> Iterator[Site]:
    """Yield the drawers that differ in their limits, each as if no tray stood there."""
    seen: set[object] = set()
    for site in sites:
        key = site.ground, site.height
        if key not in seen:
            seen.add(key)
            yield replace(site, bay=site.floor)


def least_height(site: Site, most: float, fits: Callable[[Site], bool]) -> int | None:
    """Return the least whole height in mm of a drawer, printed by a printer as high, with which something fits.

    With a millimetre less it does not; None where it does not with the most, either.

    Args:
        site: the drawer.
        most: height in mm that is tried first.
        fits: whether it fits in a drawer.
    """
    low, high = int(site.ground.height), int(most)
    if high <= low or not fits(with_height(site, float(high))):
        return None
    return least_with(low, high, lambda height: fits(with_height(site, float(height))))


def least_bed(site: Site, fits: Callable[[Site], bool]) -> tuple[int, int] | None:
    """Return the sides in whole mm, the longer first, of the smallest bed with which something fits.

    It is no smaller than the one at hand, on which all other trays are printed. None where no bed helps.

    Args:
        site: the drawer.
        fits: whether it fits in a drawer, given with another bed.
    """
    step, halved = site.ground.step, site.ground.pitch / 2.0
    sides = [
        ceil(round(side * halved - 2.0 * site.ground.joint.body_inset, 3))
        for side in range(step, max(site.ground.span) + 1, step)
    ]
    long = _first(sides, lambda side: fits(with_bed(site, side, side)))
    if long is None:
        return None
    short = _first([side for side in sides if side <= long], lambda side: fits(with_bed(site, long, side)))
    room = _room(site)
    return max(long, int(room[0])), max(short or long, int(room[1]))


def _first(sides: Sequence[int], fits: Callable[[int], bool]) -> int | None:
    """Return the first of rising sides with which something fits; None where it does not with the last, either."""
    if not sides or not fits(sides[-1]):
        return None
    return sides[least_with(-1, len(sides) - 1, lambda number: fits(sides[number]))]


def with_bed(site: Site, wide: int, deep: int) -> Site:
    """Return a drawer whose trays are printed on a bed of these sides in mm, or on the one at hand if it is larger."""
    long, short = _room(site)
    sides = max(float(max(wide, deep)), long), max(float(min(wide, deep)), short)
    return replace(site, bed=Bed((sides, sides[::-1])))


def _room(site: Site) -> tuple[float, float]:
    """Return the largest rectangle of the bed within its margins, in mm, the longer side first."""
    rooms = site.bed.rooms if site.bed is not None else ()
    wide, deep = max(rooms, key=lambda room: room[0] * room[1], default=(0.0, 0.0))
    return max(wide, deep), min(wide, deep)


def _outer(site: Site, tray: Column) -> tuple[int, int]:
    """Return a tray's sides in mm, rounded up, the longer first."""
    sides = [side * site.ground.pitch / 2.0 - 2.0 * site.ground.joint.body_inset for side in tray.halves]
    return ceil(round(max(sides), 3)), ceil(round(min(sides), 3))

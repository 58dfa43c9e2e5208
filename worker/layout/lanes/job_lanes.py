"""The lanes of a job: which items lie in lanes of which drawer, and what has no place there."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from types import MappingProxyType
from typing import Final, TypeAlias

import shapely
from shapely.geometry import MultiPolygon, Polygon

from worker.layout.drawer.outline import Area
from worker.layout.floor.print_bed import Bed
from worker.layout.lanes.between_panels import between_panels
from worker.layout.lanes.drawer_lanes import DrawerLanes, LaneSite, lanes_of
from worker.layout.lanes.free_rectangle import Rectangle, largest_rectangle
from worker.layout.lanes.kept_lanes import homes_of, kept_lanes
from worker.layout.lanes.lane_shortage import no_lane
from worker.layout.model.plan import Stored, Unplaced
from worker.layout.panels.profile import STUB
from worker.layout.panels.sockets import FloorSockets
from worker.layout.storage.sizing_rules import FRAME_AIR
from worker.layout.tray.interior import on_grid
from worker.spec import Spec
from worker.spec.items.item import Item
from worker.spec.manifest import DrawerEntry

__all__ = ["JobLanes", "floor_area", "lay_lanes"]

ListedItem: TypeAlias = tuple[str, Item]
#: What lays out items in lanes of a drawer.
_Lay: TypeAlias = Callable[[Sequence[ListedItem], LaneSite], DrawerLanes]

#: Distance of a floor from the edge of the room that lanes leave, mm: the stubs and shoes of the panel there.
_FROM_LANES: Final = STUB - 1.5


@dataclass(frozen=True)
class JobLanes:
    """The lanes of each drawer, the items that are for trays, and those that have no place.

    ``own`` are the items of each drawer, ``of_job`` those of the job.
    """

    drawers: tuple[DrawerLanes, ...]
    own: tuple[list[ListedItem], ...]
    of_job: list[ListedItem]
    unplaced: tuple[Unplaced, ...] = ()


def lay_lanes(  # noqa: PLR0917 - a job and its drawers
    spec: Spec,
    usable: Sequence[Area],
    own: Sequence[Sequence[ListedItem]],
    of_job: Sequence[ListedItem],
    bed: Bed,
    bands: Sequence[Sequence[Rectangle]],
    fault: Callable[[int, DrawerLanes], str | None],
    printed: Sequence[DrawerEntry | None],
    sockets: Sequence[FloorSockets | None],
    raised: Mapping[int, float] = MappingProxyType({}),
) -> JobLanes:
    """Return the lanes of a job's drawers.

    Items with the storage `lane` go into lanes, and in a drawer without a floor those without a storage do, too. What
    has no lane in its drawer is reported; items of the job are tried in drawers without a floor first. Lanes that are
    printed stay, unless other ones have room for more.

    Args:
        spec: the job.
        usable: the usable area of each drawer, mm.
        own: the items of each drawer, after their JSON Pointers.
        of_job: the items of the job.
        bed: where strips are printed.
        bands: the rectangles that the panels of each drawer's list take: things lie between them.
        fault: returns why the panels of a drawer's lanes cannot be set up, or None.
        printed: the drawers as they are printed; None for one that is not, or that was measured anew.
        sockets: those of the floor below the lanes and panels of each drawer; None for a bare bottom.
        raised: heights that the panels of lanes are to reach for trays that the layout puts on them, by drawer.
    """
    bare = [drawer.floor == "none" for drawer in spec.drawers]
    unplaced: list[Unplaced] = []
    for_lanes: list[list[ListedItem]] = []
    for_trays: list[list[ListedItem]] = []
    for drawer, items, is_bare in zip(spec.drawers, own, bare, strict=True):
        lanes, trays = _divided(items, bare=is_bare)
        unplaced += [_no_floor(item, pointer, drawer.name) for pointer, item in trays if is_bare]
        for_lanes.append(lanes)
        for_trays.append([] if is_bare else trays)
    job_lanes, job_trays = _divided(of_job, bare=all(bare))
    if all(bare):
        unplaced += [_no_floor(item, pointer, None) for pointer, item in job_trays]
        job_trays = []
    sites = [
        _site(spec, index, area, bed, below, raised.get(index))
        for index, (area, below) in enumerate(zip(usable, sockets, strict=True))
    ]  # fmt: skip
    layers = [
        None if site is None else _way(index, area, own_bands, entry, fault)
        for index, (site, area, own_bands, entry) in enumerate(zip(sites, usable, bands, printed, strict=True))
    ]
    results = [
        DrawerLanes(left=tuple(items)) if site is None or lay is None else lay(items, site)
        for items, site, lay in zip(for_lanes, sites, layers, strict=True)
    ]
    for index in sorted(range(len(sites)), key=lambda k: (not bare[k], k)):
        site, lay = sites[index], layers[index]
        if job_lanes and site is not None and lay is not None and spec.drawers[index].copies == 1:
            results[index], job_lanes = _with_more(for_lanes[index], results[index], job_lanes, site, lay)
    for index, result in enumerate(results):
        message = fault(index, result)
        if message is not None:
            name = spec.drawers[index].name
            unplaced += [_not_set_up(stored, name, message) for stored in result.contents]
            results[index] = DrawerLanes(left=result.left)
    for drawer, result, site in zip(spec.drawers, results, sites, strict=True):
        unplaced += [no_lane(pointer, item, [site], drawer.name) for pointer, item in result.left]
    unplaced += [no_lane(pointer, item, sites, None) for pointer, item in job_lanes]
    return JobLanes(tuple(results), tuple(for_trays), job_trays, tuple(unplaced))


def _way(
    index: int,
    area: Area,
    bands: Sequence[Rectangle],
    printed: DrawerEntry | None,
    fault: Callable[[int, DrawerLanes], str | None],
) -> _Lay:
    """Return what lays out items in lanes of a drawer: between its panels, in its printed lanes, or in new ones."""
    if bands:
        homes = None if printed is None else homes_of(printed)
        return partial(between_panels, area=area, bands=bands, homes=homes)
    if printed is None or not printed.lanes:
        return lanes_of

    def lay(items: Sequence[ListedItem], site: LaneSite) -> DrawerLanes:
        kept = kept_lanes(items, site, printed=printed)
        if fault(index, kept) is not None:
            return lanes_of(items, site)
        if not kept.left:
            return kept
        new = lanes_of(items, site)
        # nothing loses its place to something else
        return new if set(_pointers(new.left)) < set(_pointers(kept.left)) else kept

    return lay


def _pointers(items: Sequence[ListedItem]) -> list[str]:
    return [pointer for pointer, _ in items]


def floor_area(area: Area, lanes: DrawerLanes) -> Area | None:
    """Return what of a drawer's usable area is left for a floor beside its lanes; None if nothing is."""
    if not lanes.lanes:
        return area
    if lanes.rest is None:
        return None
    _, _, right, back = lanes.rest
    x0, y0, x1, y1 = area.bounds
    # only the side towards the lanes is cut off: the others follow the drawer
    cut = (
        shapely.box(x0, y0, x1, back - _FROM_LANES)
        if lanes.direction == "back"
        else shapely.box(x0, y0, right - _FROM_LANES, y1)
    )
    polygons = [part for part in shapely.get_parts(area.intersection(cut)) if isinstance(part, Polygon)]
    if not polygons:
        return None
    return polygons[0] if len(polygons) == 1 else MultiPolygon(polygons)


def _divided(items: Sequence[ListedItem], *, bare: bool) -> tuple[list[ListedItem], list[ListedItem]]:
    """Return the items that go into lanes, and those that go into trays."""
    for_lanes = {"lane", None} if bare else {"lane"}
    lanes = [listed for listed in items if listed[1].storage in for_lanes]
    return lanes, [listed for listed in items if listed[1].storage not in for_lanes]


def _no_floor(item: Item, pointer: str, drawer: str | None) -> Unplaced:
    return Unplaced(
        item.name, pointer, item.count,
        f"Kept as `{item.storage}` it lies in a tray, and there is no floor of tiles for one.",
        "Set `storage` to `lane`, or `floor` to `tiles`.", drawer, "floor",
    )  # fmt: skip


def _not_set_up(stored: Stored, drawer: str, message: str) -> Unplaced:
    reason = f"The panels around its lane cannot be set up: {message}"
    return Unplaced(stored.item, stored.pointer, stored.count, reason, None, drawer, "shape")


def _site(  # noqa: PLR0917 - a drawer as far as lanes go
    spec: Spec, index: int, area: Area, bed: Bed, sockets: FloorSockets | None, raised: float | None
) -> LaneSite | None:
    drawer = spec.drawers[index]
    room = largest_rectangle(area)
    if room is None:
        return None
    left, front, _, _ = drawer.box
    base = 0.0 if sockets is None else sockets.top
    free = on_grid(drawer.height - FRAME_AIR - base)
    strip = min(free, max((min(sides) for sides in bed.rooms), default=0.0))
    return LaneSite(
        room=room,
        origin=(left + drawer.gap, front + drawer.gap),
        height=free,
        strip=strip,
        profile=spec.layout.profile,
        pitch=None if drawer.floor == "none" else spec.grid.pitch,
        carried=tuple(sorted({tray.z for tray in drawer.trays if tray.z is not None})) if raised is None else (raised,),
        base=base,
        grid=None if sockets is None else sockets.lattice.origin,
        half=spec.grid.pitch / 2.0 if raised is not None and drawer.floor == "none" else None,
    )


def _with_more(
    own: Sequence[ListedItem], result: DrawerLanes, more: Sequence[ListedItem], site: LaneSite, lay: _Lay
) -> tuple[DrawerLanes, list[ListedItem]]:
    """Return the lanes with as many of further items as leave everything else in its place, and the other ones."""
    placed = [listed for listed in own if listed not in result.left]
    left: list[ListedItem] = []
    for listed in more:
        tried = lay([*placed, listed], site)
        if tried.left:
            left.append(listed)
        else:
            placed.append(listed)
            result = replace(tried, left=result.left)
    return result, left

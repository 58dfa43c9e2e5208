"""What could be tidied: free floor, things that take much of it and are used rarely, and things in several drawers.

It is a report only; nothing is changed.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from worker.jobs.household.models import StoredDrawer, StoredThing
from worker.jobs.household.words import stems_of
from worker.spec.items.item import Standard
from worker.spec.manifest import DrawerEntry, PartEntry

__all__ = ["Duplicate", "FloorUse", "Report", "ThingFloor", "report_of"]

#: Most things that are listed as used rarely, and least cells of one.
_MOST_RARE: Final = 50
_LEAST_CELLS: Final = 1.0

#: Half cells (squares of half a pitch) in a cell.
_QUARTERS: Final = 4.0


@dataclass(frozen=True, slots=True)
class ThingFloor:
    """The floor that a thing takes in a drawer: its share of the trays that it lies in, in cells."""

    thing: StoredThing
    drawer: StoredDrawer
    cells: float

    @property
    def sentence(self) -> str:
        """That in words."""
        name, drawer = self.thing.request.name, self.drawer.request.name
        return f"{_capital(name)} takes {_cells(self.cells)} of {drawer} and is used {self.thing.request.access}."


@dataclass(frozen=True, slots=True)
class FloorUse:
    """The floor of a drawer in cells: what trays take and what is free; ``largest`` is the largest free rectangle.

    All three are None while the drawer has no layout.
    """

    drawer: StoredDrawer
    used: float | None
    free: float | None
    largest: tuple[float, float] | None
    things: tuple[ThingFloor, ...]

    @property
    def sentence(self) -> str:
        """That in words."""
        name = _capital(self.drawer.request.name)
        if self.used is None or self.free is None:
            return f"{name} has no layout yet."
        if not self.free:
            return f"{name} is full: trays take all {_cells(self.used)}."
        place = (
            "" if self.largest is None else f"; the largest free place has {self.largest[0]:g} x {self.largest[1]:g}"
        )
        return f"{name} has {self.free:g} of {_cells(self.used + self.free)} free{place}."


@dataclass(frozen=True, slots=True)
class Duplicate:
    """Things that are the same and belong in several drawers; ``drawers`` has the name of each thing's drawer."""

    things: tuple[StoredThing, ...]
    drawers: Mapping[str, str]

    @property
    def sentence(self) -> str:
        """That in words."""
        counts: Counter[str] = Counter()
        for thing in self.things:
            counts[thing.request.drawer or ""] += thing.request.count
        places = [f"{count} in {self.drawers[drawer_id]}" for drawer_id, count in counts.items()]
        name = _capital(self.things[0].request.name)
        return f"{name} is in {len(places)} drawers: {', '.join(places[:-1])} and {places[-1]}."


@dataclass(frozen=True, slots=True)
class Report:
    """What could be tidied; ``rare`` are the things that are used rarely, the one with most floor first."""

    drawers: tuple[FloorUse, ...]
    rare: tuple[ThingFloor, ...]
    duplicates: tuple[Duplicate, ...]


def report_of(
    drawers: Sequence[StoredDrawer],
    things: Sequence[StoredThing],
    places: Mapping[str, Mapping[int, str]],
    only: str | None = None,
) -> Report:
    """Return what could be tidied.

    Args:
        drawers: all drawers.
        things: all things.
        places: ids of things by drawer and index in the contents of its layout.
        only: the id of the one drawer to report on, with what also lies in others; None for all.
    """
    by_id = {thing.id: thing for thing in things}
    chosen = [drawer for drawer in drawers if only is None or drawer.id == only]
    floors = tuple(_floor(drawer, by_id, places.get(drawer.id, {})) for drawer in chosen)
    rare = [
        use
        for floor in floors
        for use in floor.things
        if use.thing.request.access == "rarely" and use.cells >= _LEAST_CELLS
    ]
    rare.sort(key=lambda use: (-use.cells, use.thing.id))
    names = {drawer.id: drawer.request.name for drawer in drawers}
    duplicates = (
        duplicate
        for duplicate in _duplicates(things, names)
        if only is None or any(thing.request.drawer == only for thing in duplicate.things)
    )
    return Report(floors, tuple(rare[:_MOST_RARE]), tuple(duplicates))


def _floor(drawer: StoredDrawer, things: Mapping[str, StoredThing], numbers: Mapping[int, str]) -> FloorUse:
    if drawer.layout is None:
        return FloorUse(drawer, None, None, None, ())
    manifest = drawer.layout.manifest
    (entry,) = manifest.drawers
    shares, used = _tray_floor(entry, manifest.parts)
    areas: dict[int | None, float] = {}
    for content in entry.contents:
        areas[content.placement] = areas.get(content.placement, 0.0) + content.size[0] * content.size[1]
    cells: dict[str, float] = {}
    for number, content in enumerate(entry.contents):
        thing_id = numbers.get(number, "")
        if thing_id in things and content.placement in shares:
            share = content.size[0] * content.size[1] / areas[content.placement]
            cells[thing_id] = cells.get(thing_id, 0.0) + share * shares[content.placement]
    largest = entry.spaces[0].cells if entry.spaces else None
    uses = [ThingFloor(things[thing_id], drawer, round(taken, 2)) for thing_id, taken in cells.items()]
    uses.sort(key=lambda use: (-use.cells, use.thing.id))
    return FloorUse(drawer, used, entry.free / _QUARTERS, largest, tuple(uses))


def _tray_floor(entry: DrawerEntry, parts: Iterable[PartEntry]) -> tuple[dict[int, float], float]:
    """Return the floor under each tray, by index of its placement, and under all, in cells.

    Trays that stand on each other share what is under them.
    """
    trays = {part.mark: part.tray for part in parts if part.tray is not None}
    squares: dict[int, list[tuple[int, int]]] = {}
    for number, placement in enumerate(entry.placements):
        tray = trays.get(placement.mark)
        if tray is not None and placement.cell is not None:
            left, front = (round(2.0 * along) for along in placement.cell)
            across, back = (round(2.0 * along) for along in tray.cells)
            squares[number] = [(left + x, front + y) for x in range(across) for y in range(back)]
    layers = Counter(square for own in squares.values() for square in own)
    floor = {number: sum(1.0 / layers[square] for square in own) / _QUARTERS for number, own in squares.items()}
    return floor, len(layers) / _QUARTERS


def _duplicates(things: Iterable[StoredThing], names: Mapping[str, str]) -> Iterator[Duplicate]:
    """Yield the things that are the same, by name or as a standard item, and belong in several of the drawers."""
    groups: dict[object, list[StoredThing]] = {}
    for thing in things:
        if thing.request.drawer in names:
            shape = thing.request.shape
            key = shape.id if isinstance(shape, Standard) else stems_of(thing.request.name)
            groups.setdefault((thing.owner, key), []).append(thing)
    for group in groups.values():
        if len({thing.request.drawer for thing in group}) > 1:
            yield Duplicate(tuple(group), names)


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]


def _cells(count: float) -> str:
    shown = f"{count:.3g}" if count < 100.0 else f"{count:.0f}"  # noqa: PLR2004 - three digits
    return f"{shown} {'cell' if shown == '1' else 'cells'}"

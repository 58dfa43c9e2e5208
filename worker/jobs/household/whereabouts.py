"""Whereabouts of things: drawer, tray and compartment, in numbers and in words."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from worker.jobs.household.models import StoredDrawer, StoredThing
from worker.spec.drawer.tray import Divider, Tray
from worker.spec.manifest import ContentEntry, DrawerEntry, PartEntry, PlacementEntry

__all__ = ["CompartmentPlace", "Whereabouts", "sentence_of", "whereabouts_of"]

_ORDINALS: Final = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


@dataclass(frozen=True, slots=True)
class CompartmentPlace:
    """A compartment of a tray: column and row, counted from 1 at the front left, and how many there are."""

    column: int
    columns: int
    row: int
    rows: int

    @property
    def words(self) -> str:
        """The compartment in words, as in: second of 3 compartments from the left."""
        across = f"{_ordinal(self.column)} of {self.columns}"
        if self.rows == 1:
            return f"{across} compartments from the left"
        along = f"{_ordinal(self.row)} of {self.rows}"
        if self.columns == 1:
            return f"{along} compartments from the front"
        return f"{across} compartments from the left, {along} from the front"


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where some of a thing lie: ``at`` and ``size`` bound them, in mm from the drawer's front left corner.

    ``compartment`` is None in a tray without dividers. ``placed`` tells whether the tray is recorded as placed.
    """

    drawer: StoredDrawer
    mark: str
    tray: str
    side: str
    compartment: CompartmentPlace | None
    count: int
    at: tuple[float, float, float]
    size: tuple[float, float, float]
    placed: bool


def whereabouts_of(
    drawer: StoredDrawer, entry: DrawerEntry, part: PartEntry, content: ContentEntry, *, placed: bool
) -> Whereabouts:
    """Return where the things of one entry of a drawer's contents lie.

    Args:
        drawer: the drawer.
        entry: the drawer as laid out.
        part: the tray that they lie in.
        content: an entry of the contents.
        placed: whether the tray is recorded as placed.
    """
    placement = entry.placements[content.placement]
    return Whereabouts(
        drawer=drawer,
        mark=part.mark,
        tray=placement.name or part.name,
        side=_side(content, entry),
        compartment=_compartment(content, placement, part),
        count=content.count,
        at=content.at,
        size=content.size,
        placed=placed,
    )


def sentence_of(thing: StoredThing, places: Sequence[Whereabouts], home: StoredDrawer | None) -> str:
    """Return a sentence that a voice assistant can read out.

    Args:
        thing: the thing.
        places: where it lies.
        home: the drawer that it belongs in.
    """
    request = thing.request
    name = request.name[:1].upper() + request.name[1:]
    if places:
        return f"{name}: {'; and '.join(_place(place) for place in places)}."
    if home is not None:
        return f"{name}: in {_drawer(home)}."
    return f"{name}: {request.place}." if request.place else f"It is not recorded where {request.name} is."


def _place(place: Whereabouts) -> str:
    words = [f"in {_drawer(place.drawer)}", f"tray {place.mark} {place.side}"]
    words += [] if place.compartment is None else [place.compartment.words]
    return ", ".join(words) + ("" if place.placed else ", which is not recorded as placed yet")


def _drawer(drawer: StoredDrawer) -> str:
    request = drawer.request
    return request.name if request.place is None else f"{request.name} {request.place}"


def _side(content: ContentEntry, entry: DrawerEntry) -> str:
    """Return the third of the drawer, across and deep, in which the contents lie."""
    across, deep = (
        min(2, max(0, int(3.0 * (content.at[axis] + content.size[axis] / 2.0) / entry.size[axis]))) for axis in (0, 1)
    )
    left = ("left", "", "right")[across]
    front = ("front", "", "back")[deep]
    words = f"{front} {left}".strip()
    return f"at the {words}" if words else "in the middle"


def _compartment(content: ContentEntry, placement: PlacementEntry, part: PartEntry) -> CompartmentPlace | None:
    tray = part.tray
    if tray is None or placement.turn != 0:
        return None
    x, y = (content.at[axis] + content.size[axis] / 2.0 - placement.at[axis] - tray.wall for axis in (0, 1))
    inner = (part.size[0] - 2.0 * tray.wall, part.size[1] - 2.0 * tray.wall)
    across, deep = _cuts(tray, "x", inner[0], y), _cuts(tray, "y", inner[1], x)
    if not across and not deep:
        return None
    return CompartmentPlace(_before(across, x), len(across) + 1, _before(deep, y), len(deep) + 1)


def _cuts(tray: Tray, axis: str, inner: float, beside: float) -> list[float]:
    """Return the positions of the dividers across an axis that reach the other coordinate ``beside``."""
    count = 1 if tray.compartments is None else tray.compartments[axis == "y"]
    even = [inner * number / count for number in range(1, count)]
    return sorted(even + [divider.at for divider in _reaching(tray.dividers, axis, beside)])


def _reaching(dividers: Iterable[Divider], axis: str, beside: float) -> Iterable[Divider]:
    return (
        divider
        for divider in dividers
        if divider.axis == axis and (divider.span is None or divider.span[0] <= beside <= divider.span[1])
    )


def _before(cuts: Sequence[float], at: float) -> int:
    return 1 + sum(cut < at for cut in cuts)


def _ordinal(number: int) -> str:
    return _ORDINALS[number - 1] if number <= len(_ORDINALS) else f"number {number}"

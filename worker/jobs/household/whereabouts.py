"""Whereabouts of things: drawer, tray and compartment, in numbers and in words."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from worker.jobs.household.models import StoredDrawer, StoredThing
from worker.layout.tray.compartments import compartments_of_part
from worker.spec.manifest import ContentEntry, DrawerEntry, PartEntry, PlacementEntry

__all__ = ["CompartmentPlace", "Whereabouts", "sentence_of", "whereabouts_of"]

_ORDINALS: Final = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


@dataclass(frozen=True, slots=True)
class CompartmentPlace:
    """A compartment of a tray, numbered as in `worker.layout.tray.compartments`.

    ``place`` is its first column from the left and row from the front, counted from 0 as if every divider were of full
    length; ``reach`` is how many of them it takes, and ``grid`` how many there are.
    """

    place: tuple[int, int]
    reach: tuple[int, int]
    grid: tuple[int, int]

    @property
    def words(self) -> str:
        """The compartment in words, as in: second of 3 compartments from the left."""
        sides = ("from the left", "from the front")
        counted = [
            (_numbers(first, taken), every, side)
            for first, taken, every, side in zip(self.place, self.reach, self.grid, sides, strict=True)
            if taken < every
        ]
        (numbers, every, side), *others = counted
        return ", ".join(
            (
                f"{numbers} of {every} compartments {side}",
                *(f"{also} of {all_} {from_}" for also, all_, from_ in others),
            )
        )


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where some of a thing lie: ``at`` and ``size`` bound them, in mm from the drawer's front left corner.

    ``tray`` is the name of the tray, or of the lane, which has no mark. ``compartment`` is None in a lane and in a tray
    without dividers. ``placed`` tells whether the tray, or the lane's panels, are recorded as placed. ``below`` are the
    marks of trays over them that are lifted out first, the lowest first.
    """

    drawer: StoredDrawer
    mark: str | None
    tray: str
    side: str
    compartment: CompartmentPlace | None
    count: int
    at: tuple[float, float, float]
    size: tuple[float, float, float]
    placed: bool
    below: tuple[str, ...] = ()


def whereabouts_of(
    drawer: StoredDrawer, entry: DrawerEntry, parts: Mapping[str, PartEntry], content: ContentEntry, *, placed: bool
) -> Whereabouts:
    """Return where the things of one entry of a drawer's contents lie.

    Args:
        drawer: the drawer.
        entry: the drawer as laid out.
        parts: its parts by mark.
        content: an entry of the contents.
        placed: whether the tray is recorded as placed.
    """
    placement = entry.placements[content.placement or 0]
    part = parts[placement.mark]
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
        below=tuple(_above(entry, parts, content)),
    )


def whereabouts_in_lane(
    drawer: StoredDrawer, entry: DrawerEntry, content: ContentEntry, *, placed: bool
) -> Whereabouts:
    """Return where the things of one entry of a drawer's contents lie that are kept in a lane.

    Args:
        drawer: the drawer.
        entry: the drawer as laid out.
        content: an entry of the contents.
        placed: whether the drawer's panels are recorded as placed.
    """
    return Whereabouts(
        drawer=drawer,
        mark=None,
        tray=entry.lanes[content.lane or 0].name,
        side=_side(content, entry),
        compartment=None,
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
    words = [
        f"in {_drawer(place.drawer)}",
        f"{place.tray if place.mark is None else f'tray {place.mark}'} {place.side}",
    ]
    words += [] if place.compartment is None else [place.compartment.words]
    words += [f"below tray {' and tray '.join(place.below)}"] if place.below else []
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


def _above(entry: DrawerEntry, parts: Mapping[str, PartEntry], content: ContentEntry) -> Iterator[str]:
    """Yield the marks of the trays that stand over contents, the lowest first."""
    for tray in sorted(entry.upper, key=lambda tray: tray.z):
        placement = entry.placements[tray.placement]
        part = parts[placement.mark]
        size = part.size if part.piece is None else part.piece.tray_size
        over = all(
            placement.at[axis] < content.at[axis] + content.size[axis]
            and content.at[axis] < placement.at[axis] + size[axis]
            for axis in (0, 1)
        )
        if over and placement.at[2] > content.at[2]:
            yield placement.mark


def _compartment(content: ContentEntry, placement: PlacementEntry, part: PartEntry) -> CompartmentPlace | None:
    tray = part.tray
    if tray is None or placement.turn != 0:
        return None
    every = compartments_of_part(tray, part.size if part.piece is None else part.piece.tray_size)
    if len(every) == 1:
        return None
    middle = [content.at[axis] + content.size[axis] / 2.0 - placement.at[axis] for axis in (0, 1)]
    own = min(
        every,
        key=lambda compartment: sum(
            max(near - at, at - near - long, 0.0)
            for at, near, long in zip(middle, compartment.at, compartment.size, strict=True)
        ),
    )
    across, back = (max(other.place[axis] + other.reach[axis] for other in every) for axis in (0, 1))
    return CompartmentPlace(own.place, own.reach, (across, back))


def _numbers(first: int, taken: int) -> str:
    """Return the numbers of columns or rows in words, the first of which is ``first``, counted from 0."""
    last = first + taken - 1
    if taken == 1:
        return _ordinal(first + 1)
    return f"{_ordinal(first + 1)} {'and' if taken == 2 else 'to'} {_ordinal(last + 1)}"  # noqa: PLR2004 - two of them


def _ordinal(number: int) -> str:
    return _ORDINALS[number - 1] if number <= len(_ORDINALS) else f"number {number}"

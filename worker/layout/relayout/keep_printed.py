"""Keeping printed trays: a tray stays in place if its items still fit; an item that outgrows its tray gets a new one.

A shared tray stays for the items that still fit; the compartment of an item that is gone or has outgrown it is empty.
"""

import itertools
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Final, NamedTuple, TypeAlias

from worker.layout.items.item_trays import ListedItem
from worker.layout.model.plan import Stored
from worker.layout.model.shapes import TrayShape
from worker.layout.placement.bay import Anchor, Bay, Spot, half_cells, related
from worker.layout.placement.tray_placement import Footing, tray_halves
from worker.layout.relayout.previous_layout import Previous, PrintedTray
from worker.layout.tray.interior import on_grid
from worker.layout.tray.made_tray import MadeTray
from worker.spec.drawer.drawer import Drawer
from worker.spec.drawer.tray import Tray
from worker.spec.errors import LayoutError, TrayError
from worker.spec.items.item import Item
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["KeptTray", "Make", "Relayout", "Staying", "anchors", "require_fixed"]

#: Returns a tray as it is printed, on whole or half feet, for the printer of this name or, for None, for that of all
#: trays; raises `TrayError` if it cannot be made.
Make: TypeAlias = Callable[[Tray, bool, str | None], MadeTray]

Rectangle: TypeAlias = tuple[Spot, Spot]

_UNKNOWN: Final = "the previous manifest has no such item in this job's drawers"


class Lain(NamedTuple):
    """An item of the spec that lies in a printed tray; ``key`` is its name and pointer in the previous manifest."""

    pointer: str
    item: Item
    key: tuple[str, str]


@dataclass(frozen=True, slots=True)
class KeptTray:
    """A printed tray that stays: front left half cell, height above the drawer's bottom in mm, and its items.

    ``made_for`` is the printer that it was made for, None for that of all trays.
    """

    tray: Tray
    shape: TrayShape
    at: Spot
    z: float
    pointer: str
    items: tuple[Lain, ...]
    printed: PrintedTray
    made_for: str | None = None

    @property
    def rectangle(self) -> Rectangle:
        """Half cells that it covers: front left corner and size."""
        return self.at, self.shape.halves

    def stored(self, placement: int, corner: tuple[float, float, float]) -> Iterator[Stored]:
        """Yield its contents.

        Args:
            placement: index of the tray in the drawer's placements.
            corner: origin of the part's frame in the drawer's frame, mm.
        """
        named = {lain.key: (lain.pointer, lain.item) for lain in self.items}
        left = {key: item.count for key, (_, item) in named.items()}
        for content in self.printed.contents:
            key = content.item, content.pointer
            if not left.get(key):
                continue
            pointer, item = named[key]
            count = min(content.capacity, left[key])
            left[key] -= count
            x, y, z = (on_grid(content.at[a] + corner[a] - self.printed.placement.at[a]) for a in (0, 1, 2))
            yield Stored(
                item=item.name,
                pointer=pointer,
                count=count,
                capacity=content.capacity,
                storage=content.storage,
                shape=content.shape,
                placement=placement,
                at=(x, y, z),
                size=content.size,
                label=item.label_text,
            )


@dataclass(frozen=True, slots=True)
class Staying:
    """Trays that stay in a drawer, and the reasons why other items do not, by pointer."""

    kept: tuple[KeptTray, ...] = ()
    lost: dict[str, str] = field(default_factory=dict)


def anchors(kept: Iterable[KeptTray], new: Collection[Item], step: int) -> tuple[Anchor, ...]:
    """Return the trays that stay and that new items refer to, by group or by `near`.

    Args:
        kept: trays that stay.
        new: items still to be placed.
        step: step of positions, in half cells.
    """
    stacks: dict[Spot, list[KeptTray]] = {}
    for piece in sorted(kept, key=lambda piece: piece.z):
        stacks.setdefault(piece.at, []).append(piece)
    standing = (
        Anchor(tuple(lain.item for piece in stack for lain in piece.items), at, stack[0].shape.halves)
        for at, stack in stacks.items()
        if not stack[0].z
    )
    return related(standing, new, step)


@dataclass(frozen=True)
class Relayout:
    """Re-layout of one drawer that was laid out before; ``printers`` are those that a tray may have been made for."""

    previous: Previous
    drawer: Drawer
    footing: Footing
    make: Make
    printers: tuple[str | None, ...] = (None,)

    def staying(self, listed: Sequence[ListedItem], *, limit: float, movable: bool = True) -> Staying:
        """Return the printed trays that stay in place for their items.

        An item keeps its tray if its shape, storage and label are unchanged, the tray still holds its count, and it has
        no other position. The tray stays if its cells still exist and are clear of trays with a position, it would be
        printed identically now, and the tray below it stays.

        Args:
            listed: items of the drawer, then items of the job that are in no other drawer.
            limit: maximum height of anything in the drawer, mm.
            movable: whether trays of items that are not fixed stay as well.
        """
        taken = [(half_cells(tray.at), tray_halves(tray)) for tray in self.drawer.trays if tray.at is not None]
        lost: dict[str, str] = {}
        kept: list[KeptTray] = []
        broken: set[Spot] = set()
        used: set[str] = set()
        trays = sorted(self.previous.trays(self.drawer.name), key=lambda tray: tray.z)
        for printed in (tray for tray in trays if tray.contents):
            items, unserved = _served(printed, _of(printed, listed, used))
            lost.update(unserved)
            if not items or not (movable or any(item.fixed for _, item, _ in items)):
                broken.add(printed.spot)
                continue
            if printed.on_panels:  # it is laid out with the panels, which may be others now
                lost.update((pointer, "panels carry its tray") for pointer, _, _ in items)
                continue
            under = [piece for piece in kept if self._carries(piece, printed)]
            result = self._kept(printed, items, limit)
            gone = len(under) < len(printed.on) if printed.on else printed.spot in broken
            if isinstance(result, KeptTray) and gone:
                result = "a tray that it stood on is gone"
            if (
                isinstance(result, KeptTray)
                and not under
                and any(_overlap(result.rectangle, rectangle) for rectangle in taken)
            ):
                result = "another tray stands in its place"
            if isinstance(result, str):
                broken.add(printed.spot)
                lost.update((pointer, result) for pointer, _, _ in items)
                continue
            taken += [] if under else [result.rectangle]
            used.update(pointer for pointer, _, _ in items)
            kept.append(result)
        return Staying(tuple(kept), {pointer: why for pointer, why in lost.items() if pointer not in used})

    def _carries(self, piece: KeptTray, printed: PrintedTray) -> bool:
        """Return whether a tray that stays carries another one, as the previous document says or else at its place."""
        return piece.printed.index in printed.on if printed.on else piece.at == printed.spot

    def spares(self, bay: Bay, gone: Collection[int], *, limit: float, pointer: str) -> Iterator[KeptTray]:
        """Yield printed trays without text that can stay in place as spare trays.

        Args:
            bay: free half cells of the drawer.
            gone: indices of previous placements that are used otherwise.
            limit: maximum height of anything in the drawer, mm.
            pointer: JSON Pointer of the field that requests spare trays.
        """
        free = bay.bits
        for printed in self.previous.trays(self.drawer.name):
            tray = printed.tray
            if (
                printed.index in gone
                or printed.z
                or tray is None
                or tray.text
                or tray.labels
                or tray.height > limit + LENGTH_EPSILON
            ):
                continue
            shape, made_for = self._shape(tray, printed)
            if shape is not None and not (under := bay.under(*shape.halves, printed.spot)) & ~free:
                free &= ~under
                yield KeptTray(tray, shape, printed.spot, 0.0, pointer, (), printed, made_for)

    def pins(self, kept: Iterable[KeptTray] = ()) -> dict[int, tuple[Spot, ...]]:
        """Return the positions of printed trays that match trays of the drawer's list, by index in the list.

        Args:
            kept: printed trays that stay for items.
        """
        gone = {piece.printed.index for piece in kept}
        printed = [tray for tray in self.previous.trays(self.drawer.name) if tray.index not in gone and not tray.z]
        pins: dict[int, list[Spot]] = {}
        for same_name in (True, False):
            for index, tray in enumerate(self.drawer.trays):
                places = pins.setdefault(index, [])
                for piece in [piece for piece in printed if (piece.placement.name == tray.name) is same_name]:
                    if tray.at is None and not tray.raised and len(places) < tray.quantity and self._is(tray, piece):
                        places.append(piece.spot)
                        printed.remove(piece)
        return {index: tuple(places) for index, places in pins.items() if places}

    def _kept(self, printed: PrintedTray, items: tuple[Lain, ...], limit: float) -> KeptTray | str:
        """Return the tray that stays, or the reason why it does not."""
        tops = [content.at[2] + content.size[2] for content in printed.contents]
        if max(printed.z + printed.part.size[2], *tops) > limit + LENGTH_EPSILON:
            return "the drawer is too low for it now"
        tray = printed.tray
        shape, made_for = self._shape(tray, printed)
        if shape is None or tray is None:
            return "its tray does not fit this place or this grid any more"
        return KeptTray(tray, shape, printed.spot, printed.z, items[0].pointer, items, printed, made_for)

    def _is(self, tray: Tray, printed: PrintedTray) -> bool:
        """Return whether a printed tray matches a tray of the spec."""
        # cheap comparisons first
        same = printed.part.tray is not None and tray.cells == printed.part.tray.cells
        return same and tray.height == printed.part.size[2] and self._shape(tray, printed)[0] is not None

    def _shape(self, tray: Tray | None, printed: PrintedTray) -> tuple[TrayShape | None, str | None]:
        """Return the shape of a tray at a printed one's position, and the printer for which it is as that one.

        The shape is None if it differs from the printed one for all printers.
        """
        half_feet = None if tray is None else self.footing.half_feet(printed.spot, tray_halves(tray))
        if tray is None or half_feet is None:
            return None, None
        feet = dict.fromkeys((half_feet, half_feet or bool(printed.z)))  # walls below may ask for half feet
        for printer, on_half in itertools.product(self.printers, feet):
            with suppress(TrayError):
                made = self.make(tray, on_half, printer)
                if made.fingerprints == printed.fingerprints:
                    return made.shape, printer
        return None, None


def require_fixed(listed: Iterable[ListedItem], staying: Sequence[Staying]) -> None:
    """Check that every fixed item stays in place.

    Args:
        listed: all items of the job.
        staying: trays that stay, drawer by drawer.

    Raises:
        LayoutError: if a fixed item does not stay; it holds one error for each, with the reason.
    """
    there = {pointer for drawer in staying for kept in drawer.kept for pointer, _, _ in kept.items}
    why = {pointer: reason for drawer in reversed(staying) for pointer, reason in drawer.lost.items()}
    errors = [
        LayoutError(
            f"Item {item.name!r} cannot stay where it was: {why.get(pointer, _UNKNOWN)}.",
            pointer=f"{pointer}/fixed",
            value=True,
            limit="an item that still fits its tray of the previous manifest",
            remedy="Set fixed to false, or leave the item and its drawer unchanged.",
        )
        for pointer, item in listed
        if item.fixed and pointer not in there
    ]
    if len(errors) == 1:
        raise errors[0]
    if errors:
        raise LayoutError(f"{len(errors)} items cannot stay where they were.", errors=errors)


def _of(printed: PrintedTray, listed: Sequence[ListedItem], used: set[str]) -> tuple[Lain, ...]:
    """Return the items of the spec that lie in a printed tray, each once."""
    lots: dict[str, Lain] = {}
    for key in dict.fromkeys((content.item, content.pointer) for content in printed.contents):
        same = [entry for entry in listed if entry[1].name == key[0] and entry[0] not in used and entry[0] not in lots]
        if same:
            pointer, item = min(same, key=lambda entry: entry[0] != key[1])
            lots[pointer] = Lain(pointer, item, key)
    return tuple(lots.values())


def _served(printed: PrintedTray, items: Sequence[Lain]) -> tuple[tuple[Lain, ...], dict[str, str]]:
    """Return the items that still fit a printed tray, and the reasons for the others by pointer."""
    tray = printed.part.tray
    texts = set() if tray is None else {label for label in tray.labels if label is not None}
    if tray is not None and tray.text is not None:
        texts.add(tray.text.text)
    labels = {item.label_text for _, item, _ in items if item.label_text is not None}
    # a shared tray carries the group's name, and keeps it if only one item is left
    groups = {item.group for _, item, _ in items if item.group is not None}
    if not labels - groups <= texts or (texts and not texts & (labels | groups | {item.name for _, item, _ in items})):
        return (), {item.pointer: "its label is another" for item in items}
    why = {item.pointer: _unserved(printed, item) for item in items}
    lost = {pointer: reason for pointer, reason in why.items() if reason is not None}
    return tuple(item for item in items if item.pointer not in lost), lost


def _unserved(printed: PrintedTray, lain: Lain) -> str | None:
    """Return the reason why an item no longer fits a printed tray, or None."""
    item = lain.item
    lots = [content for content in printed.contents if (content.item, content.pointer) == lain.key]
    room = sum(lot.capacity for lot in lots)
    if any(lot.shape != item.plain for lot in lots):
        return "its shape is another"
    if item.count > room:
        return f"its tray has room for {room}"
    if item.storage is not None and any(lot.storage != item.storage for lot in lots):
        return f"it lies there as {lots[0].storage}"
    if item.at is not None and half_cells(item.at) != printed.spot:
        return "it is to stand elsewhere"
    return None


def _overlap(first: Rectangle, other: Rectangle) -> bool:
    ((x, y), (width, depth)), ((u, v), (across, back)) = first, other
    return x < u + across and u < x + width and y < v + back and v < y + depth

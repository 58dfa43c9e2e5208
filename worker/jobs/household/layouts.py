"""Layouts of drawers: a drawer takes over what a job laid it out as, with the pieces that lie in it."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, select, update

from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import DrawerRow, PieceRow
from worker.jobs.household.models import StoredPiece
from worker.jobs.household.pieces import pieces_where
from worker.jobs.household.things import place_things
from worker.spec import Spec
from worker.spec.manifest import ContentEntry, DrawerEntry, Manifest, PartEntry, PlacementEntry

__all__ = ["REPEATED", "LaidPlacement", "PrintedJob", "adopt_once", "change_piece", "laid_placements", "reduced"]

#: Fields of a drawer that a later job over it repeats.
REPEATED: Final = ("trays", "fill", "floor", "panels")


@dataclass(frozen=True, slots=True)
class PrintedJob:
    """A job that is printed: its id, spec and manifest."""

    id: str
    spec: Spec
    manifest: Manifest

    @property
    def drawer_ids(self) -> dict[str, str]:
        """Ids of the household's drawers by the names that they have in the job."""
        return {drawer.name: drawer.id for drawer in self.spec.drawers if drawer.id is not None}

    @property
    def parts(self) -> dict[str, PartEntry]:
        """The parts by mark."""
        return {part.mark: part for part in self.manifest.parts}

    def entry(self, name: str) -> DrawerEntry | None:
        """Return the drawer with this name as laid out, None if the job has none."""
        return next((entry for entry in self.manifest.drawers if entry.name == name), None)

    def settings(self, name: str) -> dict[str, Any]:
        """Return what a later job over this drawer repeats: fields of the spec and of the drawer."""
        of_spec = {"printer", "printers", "grid", "joints", "material", "printing", "layout", "schedule"}
        made = self.spec.model_dump(mode="json", exclude_unset=True, include=of_spec)
        drawer = next(drawer for drawer in self.spec.drawers if drawer.name == name)
        return made | drawer.model_dump(mode="json", exclude_unset=True, include=set(REPEATED))

    def thing_ids(self, entry: DrawerEntry) -> dict[int, str]:
        """Return the ids of things by their index in the contents of a drawer."""
        items = dict(self.spec.every_item())
        ids = {number: items.get(content.pointer) for number, content in enumerate(entry.contents)}
        return {number: item.id for number, item in ids.items() if item is not None and item.id is not None}


@dataclass(frozen=True, slots=True)
class LaidPlacement:
    """A place in a drawer's layout: its part, the piece that lies there or None, and what is stored in it."""

    number: int
    placement: PlacementEntry
    part: PartEntry
    piece: StoredPiece | None
    contents: tuple[tuple[int, ContentEntry], ...]


def reduced(manifest: Manifest, entry: DrawerEntry) -> Manifest:
    """Return the manifest with one drawer and its parts, without what belongs to printing."""
    counts: dict[str, int] = {}
    for placement in entry.placements:
        counts[placement.mark] = counts.get(placement.mark, 0) + 1
    parts = tuple(
        part.model_copy(update={"quantity": counts[part.mark]}) for part in manifest.parts if part.mark in counts
    )
    gone = {"assembly": (), "warnings": (), "runs": (), "purchases": (), "documents": ()}
    none = {"changes": None, "work": None, "schedule": None, "bundle": None}
    unplaced = tuple(lack for lack in manifest.unplaced if lack.drawer in (None, entry.name))
    own = {"drawers": (entry,), "parts": parts, "unplaced": unplaced}
    return manifest.model_copy(update={**gone, **none, **own})


def adopt_once(connection: Connection, drawer_id: str, owner: str, job: PrintedJob, entry: DrawerEntry) -> None:
    """Make the job's layout that of the drawer, unless it is so already.

    Pieces that lie in the drawer take the places of their shape in a layout that was made for them (`previous`): first
    their old place, then any. All others are retired.
    """
    old = connection.execute(select(DrawerRow.layout_job, DrawerRow.layout).where(DrawerRow.id == drawer_id)).one()
    if old.layout_job == job.id:
        return
    pieces = pieces_where(connection, PieceRow.drawer_id == drawer_id, PieceRow.state == "placed")
    before = None if old.layout is None else Manifest.model_validate_json(old.layout).drawers[0].placements
    printed = isinstance(job.spec.previous, Manifest)
    staying = _matched(pieces, before or (), entry, job.parts) if printed else {}
    for piece in pieces:
        place = staying.get(piece.id)
        values = {"placement": place} if place is not None else {"placement": None, "state": "retired"}
        change_piece(connection, piece.id, values)
    place_things(connection, drawer_id, owner, job.thing_ids(entry))
    laid = {
        "layout": reduced(job.manifest, entry).model_dump_json(),
        "layout_job": job.id,
        "layout_settings": job.settings(entry.name),
        "laid_out": utc_now(),
        "updated": utc_now(),
        "revision": DrawerRow.revision + 1,
    }
    connection.execute(update(DrawerRow).where(DrawerRow.id == drawer_id).values(**laid))


def laid_placements(manifest: Manifest, entry: DrawerEntry, pieces: Iterable[StoredPiece]) -> Iterator[LaidPlacement]:
    """Yield the places of one drawer of a manifest with the pieces that lie there."""
    parts = {part.mark: part for part in manifest.parts}
    lying = {piece.placement: piece for piece in pieces if piece.state == "placed" and piece.placement is not None}
    for number, placement in enumerate(entry.placements):
        contents = tuple(
            (index, content) for index, content in enumerate(entry.contents) if content.placement == number
        )
        yield LaidPlacement(number, placement, parts[placement.mark], lying.get(number), contents)


def change_piece(connection: Connection, piece_id: str, values: Mapping[str, Any]) -> None:
    """Change the row of a piece."""
    changed = {**values, "updated": utc_now(), "revision": PieceRow.revision + 1}
    connection.execute(update(PieceRow).where(PieceRow.id == piece_id).values(**changed))


def _matched(
    pieces: Iterable[StoredPiece],
    before: tuple[PlacementEntry, ...],
    entry: DrawerEntry,
    parts: Mapping[str, PartEntry],
) -> dict[str, int]:
    """Return the places that pieces take, by id: the place with the same position first, then any of their shape."""
    waiting = [piece for piece in pieces if piece.shape is not None]
    free = dict(enumerate(entry.placements))
    taken: dict[str, int] = {}
    for same_place in (True, False):
        for piece in [piece for piece in waiting if piece.id not in taken]:
            at = before[piece.placement].at if piece.placement is not None and piece.placement < len(before) else None
            for number, placement in free.items():
                if parts[placement.mark].shape == piece.shape and (not same_place or placement.at == at):
                    taken[piece.id] = number
                    del free[number]
                    break
    return taken

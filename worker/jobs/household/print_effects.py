"""What a print event changes in the household: pieces come into being, and drawers take over their layouts.

A good piece is recorded as printed; placed in a drawer of the household, it takes a place of its shape in the drawer's
layout. The first piece that a job places in a drawer makes the job's layout that of the drawer.
"""

from collections import Counter
from typing import Any

from sqlalchemy import Connection, case, delete, insert, select

from worker.jobs.common.ids import new_id
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import DrawerRow, JobRow, PieceRow
from worker.jobs.household.drawers import touch_drawers
from worker.jobs.household.layouts import PrintedJob, adopt_once, change_piece, laid_placements
from worker.jobs.household.models import StoredPiece
from worker.jobs.household.pieces import pieces_where
from worker.printing.progress.print_state import PrintState
from worker.spec.manifest import Manifest, PartEntry
from worker.spec.requests.print_event import PrintEvent

__all__ = ["follow_event", "place_whole_drawer"]


def follow_event(
    connection: Connection, job: PrintedJob, event: PrintEvent, before: PrintState | None, after: PrintState
) -> None:
    """Record what an event changes, in the transaction of the event.

    Args:
        connection: inside a transaction.
        job: the job that is printed.
        event: the event.
        before: the print state before it, None at first.
        after: the print state after it.
    """
    owner = connection.scalar(select(JobRow.owner).where(JobRow.id == job.id))
    if owner is None:
        return
    effects = _Effects(connection, job, owner, _drawers_of_run(event, after))
    for mark in sorted(after.needed):
        printed, placed = (
            fields.get(mark, 0) - (0 if before is None else old.get(mark, 0))
            for fields, old in (
                (after.printed, {} if before is None else before.printed),
                (after.placed, {} if before is None else before.placed),
            )
        )
        effects.take_out(mark, -placed)
        effects.discard(mark, -printed)
        effects.add(mark, printed)
        effects.place(mark, placed)


def place_whole_drawer(connection: Connection, job: PrintedJob, drawer_id: str, owner: str, name: str) -> None:
    """Record that a drawer is as the job laid it out: each place has a piece.

    Args:
        connection: inside a transaction.
        job: a job that succeeded.
        drawer_id: the drawer.
        owner: its owner.
        name: its name in the job.
    """
    entry = job.entry(name)
    if entry is None:
        return
    adopt_once(connection, drawer_id, owner, job, entry)
    effects = _Effects(connection, job, owner, Counter())
    for place in list(laid_placements(job.manifest, entry, pieces_where(connection, PieceRow.drawer_id == drawer_id))):
        if place.piece is None:
            waiting = [piece for piece in effects.pieces(place.part.mark, ("printed",)) if piece.drawer == drawer_id]
            piece_id = waiting[0].id if waiting else effects.insert(place.part, drawer_id)
            change_piece(connection, piece_id, {"state": "placed", "placement": place.number})


class _Effects:
    """Changes of the pieces of one job."""

    def __init__(self, connection: Connection, job: PrintedJob, owner: str, meant: Counter[tuple[str, str]]) -> None:
        """Prepare changes; ``meant`` counts the pieces of the event's run by mark and name of the drawer."""
        self._connection = connection
        self._job = job
        self._owner = owner
        self._meant = meant
        ids = job.drawer_ids
        query = select(DrawerRow.id).where(DrawerRow.id.in_(list(ids.values())), DrawerRow.owner == owner)
        owned = set(connection.scalars(query))
        self._drawers = {name: drawer_id for name, drawer_id in ids.items() if drawer_id in owned}

    def add(self, mark: str, count: int) -> None:
        """Add printed pieces."""
        part = self._job.parts[mark]
        for _ in range(count):
            self.insert(part, self._drawer_for(part))

    def insert(self, part: PartEntry, drawer_id: str | None) -> str:
        """Add a printed piece; return its id."""
        piece_id, now = new_id(), utc_now()
        stored = part.model_copy(update={"quantity": 1, "checks": (), "files": (), "printability": ()})
        values: dict[str, Any] = {
            "id": piece_id, "owner": self._owner, "created": now, "updated": now, "mark": part.mark, "kind": part.kind,
            "name": part.name, "digest": part.digest, "shape": part.shape, "state": "printed", "drawer_id": drawer_id,
            "job_id": self._job.id, "part": stored.model_dump(mode="json", exclude_unset=True),
        }  # fmt: skip
        self._connection.execute(insert(PieceRow).values(**values))
        touch_drawers(self._connection, {drawer_id})
        return piece_id

    def take_out(self, mark: str, count: int) -> None:
        """Take pieces out of their places, the last first: they are printed and no longer placed."""
        for piece in self.pieces(mark, ("placed",), PieceRow.updated.desc(), PieceRow.id.desc())[: max(0, count)]:
            change_piece(self._connection, piece.id, {"state": "printed", "placement": None})
            touch_drawers(self._connection, {piece.drawer})

    def discard(self, mark: str, count: int) -> None:
        """Remove pieces that turned out bad or were never printed, the last first and no placed one before others."""
        waiting_first = case((PieceRow.state == "printed", 0), else_=1)
        last_first = PieceRow.updated.desc(), PieceRow.id.desc()
        for piece in self.pieces(mark, ("printed", "placed"), waiting_first, *last_first)[: max(0, count)]:
            self._connection.execute(delete(PieceRow).where(PieceRow.id == piece.id))
            touch_drawers(self._connection, {piece.drawer})

    def place(self, mark: str, count: int) -> None:
        """Place printed pieces in their drawers; those of a job without drawers of the household just change state."""
        meant = {self._drawers.get(name) for (own, name) in self._meant if own == mark}
        waiting = sorted(self.pieces(mark, ("printed",)), key=lambda piece: bool(meant) and piece.drawer not in meant)
        for piece in waiting[: max(0, count)]:
            number = None if piece.drawer is None else self._free_place(piece.drawer, piece)
            change_piece(self._connection, piece.id, {"state": "placed", "placement": number})
            touch_drawers(self._connection, {piece.drawer})

    def pieces(self, mark: str, states: tuple[str, ...], *order: Any) -> list[StoredPiece]:
        """Return pieces of the job with this mark in these states, oldest first unless another order is given."""
        # an imported household of another owner can name this job too
        owned = PieceRow.owner == self._owner
        conditions = owned, PieceRow.job_id == self._job.id, PieceRow.mark == mark, PieceRow.state.in_(states)
        return pieces_where(self._connection, *conditions, order=order)

    def _drawer_for(self, part: PartEntry) -> str | None:
        """Return the drawer that a new piece is for: that of the run, otherwise the first with a place left."""
        for (mark, name), count in self._meant.items():
            if mark == part.mark and count > 0:
                self._meant[mark, name] -= 1
                return self._drawers.get(name)
        for name, drawer_id in self._drawers.items():
            entry = self._job.entry(name)
            places = 0 if entry is None else sum(place.mark == part.mark for place in entry.placements)
            if places > self._filled(drawer_id, part):
                return drawer_id
        return None

    def _filled(self, drawer_id: str, part: PartEntry) -> int:
        """Return the number of pieces that a drawer has for places of this part."""
        staying = ("placed",) if isinstance(self._job.spec.previous, Manifest) else ()
        pieces = pieces_where(self._connection, PieceRow.drawer_id == drawer_id)
        return sum(
            piece.mark == part.mark if piece.job == self._job.id and piece.state in ("printed", "placed")
            else piece.state in staying and piece.shape is not None and piece.shape == part.shape
            for piece in pieces
        )  # fmt: skip

    def _free_place(self, drawer_id: str, piece: StoredPiece) -> int | None:
        """Return the first free place for a piece in the job's layout of its drawer, which becomes the drawer's own."""
        name = next((name for name, own in self._drawers.items() if own == drawer_id), None)
        entry = None if name is None else self._job.entry(name)
        if entry is None:
            return None
        adopt_once(self._connection, drawer_id, self._owner, self._job, entry)
        places = laid_placements(
            self._job.manifest, entry, pieces_where(self._connection, PieceRow.drawer_id == drawer_id)
        )
        return next((place.number for place in places if place.piece is None and place.part.mark == piece.mark), None)


def _drawers_of_run(event: PrintEvent, after: PrintState) -> Counter[tuple[str, str]]:
    """Count the pieces of the event's run by mark and name of the drawer; none if it names a mark."""
    record = None if event.run is None else after.find(event.run)
    pieces = () if record is None else record.run.pieces
    return Counter((piece.mark, piece.drawer) for piece in pieces if piece.drawer is not None)

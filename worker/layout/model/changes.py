"""Changes: comparison of a plan with the pieces that have been printed."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import isclose
from typing import Final, TypeAlias

from worker.layout.model.plan import LayoutChanges, Move, Pieces, Stand
from worker.layout.model.shapes import Kind
from worker.spec.manifest import DrawerEntry, Manifest, PlanDocument, PlannedPart

__all__ = ["changes_of"]

#: Tolerance in mm within which two rounded positions are the same.
_NEAR: Final = 0.003


@dataclass(slots=True)
class _Piece:
    """Pieces of one mark at one position of a drawer and its copies; ``near`` is relative to the grid's origin."""

    mark: str
    name: str
    count: int
    stand: Stand
    near: tuple[float, float, float]

    def is_at(self, other: "_Piece") -> bool:
        """Return whether the position is the same: exactly for trays on the grid, within a tolerance otherwise."""
        own, theirs = self.stand, other.stand
        if (own.drawer, own.turn, own.cell) != (theirs.drawer, theirs.turn, theirs.cell):
            return False
        along = (2,) if own.cell is not None else (0, 1, 2)
        return all(isclose(self.near[axis], other.near[axis], abs_tol=_NEAR, rel_tol=0.0) for axis in along)


_Marked: TypeAlias = dict[str, list[_Piece]]


def changes_of(plan: PlanDocument, previous: Manifest) -> LayoutChanges:
    """Return the changes of a plan against a previous manifest.

    A printed piece is reused if the plan has its mark: it is kept if the position in the drawer of the same name is the
    same, and moved otherwise. Pieces that are missing are new, and those left over are retired.
    """
    now, before = _standing(plan.drawers), _standing(previous.drawers)
    parts = {part.mark: part for part in (*previous.parts, *plan.parts)}
    old_names = {part.mark: part.name for part in previous.parts}
    counts = _quantities(plan.parts), _quantities(previous.parts)
    new: list[Pieces] = []
    kept: list[Pieces] = []
    moved: list[Move] = []
    retired: list[Pieces] = []
    for mark, part in sorted(parts.items(), key=lambda entry: (_ORDER.index(entry[1].kind), int(entry[0][1:]))):
        quantity, printed = (count.get(mark, 0) for count in counts)
        present, there = now.get(mark, []), before.get(mark, [])
        staying = _kept(present, there) if present or there else min(quantity, printed)
        moves = list(_moved(mark, part.kind, present, there))
        served = staying + sum(move.count for move in moves)
        lacking = tuple((piece.stand.drawer, piece.count) for piece in present if piece.count)
        for pieces, name, count, drawers in (
            (kept, part.name, staying, ()),
            (new, part.name, quantity - served, lacking),
            (retired, old_names.get(mark, part.name), printed - served, ()),
        ):
            if count > 0:
                pieces.append(Pieces(mark, part.kind, name, count, drawers))
        moved += moves
    return LayoutChanges(tuple(new), tuple(kept), tuple(moved), tuple(retired))


_ORDER: Final[tuple[Kind, ...]] = ("tile", "tray", "key", "coupon", "plug", "panel", "shoe", "clip")


def _standing(drawers: Iterable[DrawerEntry]) -> _Marked:
    """Return the positions of the pieces of each mark."""
    marked: _Marked = {}
    for drawer in drawers:
        for placement in drawer.placements:
            (x, y, z), (left, front) = placement.at, drawer.origin
            stand = Stand(drawer.name, placement.at, placement.turn, placement.cell)
            piece = _Piece(placement.mark, placement.name or "", drawer.copies, stand, (x - left, y - front, z))
            marked.setdefault(placement.mark, []).append(piece)
    return marked


def _quantities(parts: Iterable[PlannedPart]) -> dict[str, int]:
    return {part.mark: part.quantity for part in parts}


def _kept(now: Sequence[_Piece], before: Sequence[_Piece]) -> int:
    """Return the number of pieces of a mark that stay, and subtract them from the counts."""
    staying = 0
    by_cell: dict[tuple[str, object], list[_Piece]] = {}
    for piece in before:
        by_cell.setdefault((piece.stand.drawer, piece.stand.cell), []).append(piece)
    for piece in now:
        for other in by_cell.get((piece.stand.drawer, piece.stand.cell), ()):
            count = min(piece.count, other.count)
            if count and piece.is_at(other):
                piece.count -= count
                other.count -= count
                staying += count
    return staying


def _moved(mark: str, kind: Kind, now: Sequence[_Piece], before: Sequence[_Piece]) -> Iterator[Move]:
    """Yield the moves of the remaining pieces of a mark, within the same drawer first."""
    for same_drawer in (True, False):
        for piece in now:
            for other in before:
                count = min(piece.count, other.count)
                if count and (not same_drawer or piece.stand.drawer == other.stand.drawer):
                    piece.count -= count
                    other.count -= count
                    yield Move(mark, kind, piece.name, count, other.stand, piece.stand)

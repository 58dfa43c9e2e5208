"""Differences between a new layout and what has already been printed."""

from worker.spec.manifest.fields import Mark, OutputModel, PartKind, Point2, Point3, Quantity, Turn


class PiecesEntry(OutputModel):
    """Number of pieces with one mark."""

    mark: Mark
    kind: PartKind
    name: str
    count: Quantity


class StandEntry(OutputModel):
    """Position of a piece, as in a drawer's placements."""

    drawer: str
    at: Point3
    turn: Turn
    cell: Point2 | None = None


class MoveEntry(OutputModel):
    """Printed pieces that move to another position."""

    mark: Mark
    kind: PartKind
    name: str
    count: Quantity
    """Number of pieces; in the copies of a drawer, the same piece moves the same way."""
    before: StandEntry
    now: StandEntry


class Changes(OutputModel):
    """Changes against the previous manifest. New, kept and moved pieces together are all that the layout needs."""

    new: tuple[PiecesEntry, ...]
    """To be printed."""
    kept: tuple[PiecesEntry, ...]
    """Stay where they are."""
    moved: tuple[MoveEntry, ...]
    """Reused in another position."""
    retired: tuple[PiecesEntry, ...]
    """No longer needed; marks and names are those of the previous manifest."""

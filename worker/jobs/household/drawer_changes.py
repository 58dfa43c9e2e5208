"""Changes of what a drawer is to hold: a spec that is laid out against what is printed, and what follows from it.

Spare and retired pieces of the whole household take part as the pieces of a drawer that does not exist, so the layout
moves them into the drawer before anything is printed.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from worker.jobs.common.errors import HouseholdRefused
from worker.jobs.household.layouts import REPEATED
from worker.jobs.household.models import DrawerLayout, StoredDrawer, StoredPiece, StoredThing
from worker.jobs.household.outline_shapes import FindOutline, with_outlines
from worker.jobs.household.references import item_of
from worker.spec.errors import SpecError
from worker.spec.job import Spec
from worker.spec.manifest import (
    Cells,
    Changes,
    DrawerEntry,
    Manifest,
    MoveEntry,
    PartEntry,
    PiecesEntry,
    PlacementEntry,
)
from worker.spec.reading.loader import load
from worker.spec.requests.household import ChangesRequest

__all__ = ["SPARES", "DrawerChanges", "ReusedPieces", "change_spec", "changed_things", "drawer_changes", "with_spares"]

#: Name of the drawer that spare and retired pieces are listed in.
SPARES: Final = "spare pieces of the household"


@dataclass(frozen=True, slots=True)
class ReusedPieces:
    """Pieces of the household that take places of a mark; their engraved marks may be others."""

    entry: PiecesEntry
    pieces: tuple[StoredPiece, ...]


@dataclass(frozen=True, slots=True)
class DrawerChanges:
    """What becomes of the pieces of a drawer."""

    stay: tuple[PiecesEntry, ...]
    move: tuple[MoveEntry, ...]
    reuse: tuple[ReusedPieces, ...]
    new: tuple[PiecesEntry, ...]
    retire: tuple[PiecesEntry, ...]


def changed_things(
    belonging: Sequence[StoredThing], added: Sequence[StoredThing], request: ChangesRequest
) -> list[tuple[StoredThing, int]]:
    """Return the things of a drawer after the changes, with their counts.

    Raises:
        HouseholdRefused: if a thing that does not belong in the drawer is removed or counted.
    """
    things = {thing.id: thing for thing in (*belonging, *added)}
    for field, ids in (("remove", request.remove), ("counts", request.counts)):
        for index, thing_id in enumerate(ids):
            if thing_id not in things:
                raise HouseholdRefused(
                    "The thing does not belong in the drawer.",
                    pointer=f"/{field}/{thing_id if field == 'counts' else index}", value=thing_id,
                    limit="a thing of the drawer, or one that is added", remedy="Correct the id, or add the thing.",
                )  # fmt: skip
    left = (thing for thing in things.values() if thing.id not in request.remove)
    return [(thing, request.counts.get(thing.id, thing.request.count)) for thing in left]


def change_spec(
    drawer: StoredDrawer,
    layout: DrawerLayout,
    things: Iterable[tuple[StoredThing, int]],
    previous: Manifest,
    outlines: FindOutline,
) -> Spec:
    """Return the spec of a drawer with other things, laid out against what is printed.

    Things without a shape are left out, as in a job that names the drawer.

    Raises:
        HouseholdRefused: with the problems of the spec.
        SilhouetteNotFound: if the silhouette of a thing was removed.
    """
    entry: dict[str, Any] = drawer.request.as_drawer() | {"id": drawer.id}
    entry |= {name: layout.settings[name] for name in REPEATED if name in layout.settings}
    entry["items"] = [
        item_of(thing, {"count": count}, "") for thing, count in things if thing.request.shape is not None
    ]
    settings = {name: value for name, value in layout.settings.items() if name not in REPEATED}
    document = {
        **drawer.request.defaults(),
        **settings,
        "spec": "1",
        "name": f"{drawer.request.name}: changes"[:80],
        "coupon": False,
        "drawers": [entry],
    }
    try:
        spec = load(with_outlines(document, outlines))
    except SpecError as error:
        raise HouseholdRefused(
            f"The drawer cannot be planned: {error.message}", pointer=error.pointer, value=error.value,
            limit=error.limit, remedy=error.remedy, errors=error.errors,
        ) from None  # fmt: skip
    return spec.model_copy(update={"previous": previous})


def with_spares(manifest: Manifest, spares: Iterable[StoredPiece]) -> tuple[Manifest, dict[str, list[StoredPiece]]]:
    """Return a reduced manifest with spare pieces in a drawer of their own, and these pieces by mark.

    A piece of the same shape as a part of the manifest has that part's mark here. Otherwise it keeps its own, unless
    that stands for another shape. Pieces without a part are left out.
    """
    parts = {part.mark: part for part in manifest.parts}
    marks = {part.shape: part.mark for part in manifest.parts if part.shape is not None}
    numbers = Counter(manifest.numbering)
    for mark in parts:
        numbers[mark[0]] = max(numbers[mark[0]], int(mark[1:]))
    pieces: dict[str, list[StoredPiece]] = {}
    for piece in spares:
        part = piece.part
        if part is None or part.shape is None:
            continue
        mark = marks.get(part.shape, piece.mark)
        if part.shape not in marks:
            if mark in parts:
                numbers[mark[0]] += 1
                mark = f"{mark[0]}{numbers[mark[0]]}"
            numbers[mark[0]] = max(numbers[mark[0]], int(mark[1:]))
            marks[part.shape] = mark
            parts[mark] = part.model_copy(update={"mark": mark, "quantity": 1})
        else:
            parts[mark] = parts[mark].model_copy(update={"quantity": parts[mark].quantity + 1})
        pieces.setdefault(mark, []).append(piece)
    if not pieces:
        return manifest, pieces
    drawers = (*manifest.drawers, _spare_drawer(manifest.drawers[0].pitch, pieces, parts))
    changed = {"drawers": drawers, "parts": tuple(parts.values()), "numbering": dict(sorted(numbers.items()))}
    return manifest.model_copy(update=changed), pieces


def drawer_changes(changes: Changes, spares: Mapping[str, Sequence[StoredPiece]]) -> DrawerChanges:
    """Return what becomes of a drawer's pieces, from the changes against a manifest `with_spares`."""
    reused: Counter[str] = Counter()
    names: dict[str, MoveEntry] = {}
    for move in changes.moved:
        if move.before.drawer == SPARES:
            reused[move.mark] += move.count
            names[move.mark] = move
    reuse = tuple(
        ReusedPieces(
            PiecesEntry(mark=mark, kind=names[mark].kind, name=names[mark].name, count=count),
            tuple(spares.get(mark, ()))[:count],
        )
        for mark, count in sorted(reused.items())
    )
    unused = Counter({mark: len(pieces) for mark, pieces in spares.items()}) - reused
    retire = []
    for entry in changes.retired:
        count = entry.count - unused[entry.mark]
        if count > 0:
            retire.append(entry.model_copy(update={"count": count}))
    return DrawerChanges(
        stay=changes.kept,
        move=tuple(move for move in changes.moved if move.before.drawer != SPARES),
        reuse=reuse,
        new=changes.new,
        retire=tuple(retire),
    )


def _spare_drawer(
    pitch: float, pieces: Mapping[str, Sequence[StoredPiece]], parts: Mapping[str, PartEntry]
) -> DrawerEntry:
    placements = tuple(
        PlacementEntry(mark=mark, at=(0.0, 0.0, 0.0), turn=0, name=parts[mark].name)
        for mark, own in sorted(pieces.items())
        for _ in own
    )
    return DrawerEntry(
        name=SPARES,
        copies=1,
        size=(1.0, 1.0, 1.0),
        outline=(),
        origin=(0.0, 0.0),
        pitch=pitch,
        cells=Cells(whole=0, half=0, across=(0, 0)),
        leftover=(0.0, 0.0),
        free=0,
        placements=placements,
    )

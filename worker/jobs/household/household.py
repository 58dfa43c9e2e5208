"""The household: drawers, things and pieces of all owners, and what print events change in them."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, Engine

from worker.jobs.common.errors import DrawerNotLaidOut, HouseholdRefused
from worker.jobs.household.declutter import Report, report_of
from worker.jobs.household.drawer_changes import SPARES, DrawerChanges, change_spec, changed_things, with_spares
from worker.jobs.household.drawers import DRAWERS, DrawerRecords
from worker.jobs.household.layouts import LaidPlacement, PrintedJob, laid_placements, reduced
from worker.jobs.household.models import DrawerLayout, StoredDrawer, StoredPiece, StoredThing, drawer_of
from worker.jobs.household.outline_shapes import outline_finder
from worker.jobs.household.owned_rows import MOST_ROWS
from worker.jobs.household.pieces import PieceRecords
from worker.jobs.household.print_effects import follow_event, place_whole_drawer
from worker.jobs.household.references import resolve
from worker.jobs.household.thing_search import MatchedThing, ThingSearch
from worker.jobs.household.things import ThingRecords
from worker.jobs.household.transfer import export_household, import_household
from worker.jobs.household.whereabouts import Whereabouts, sentence_of, whereabouts_in_lane, whereabouts_of
from worker.jobs.records.silhouettes import SilhouetteRecords
from worker.printing.progress.print_state import PrintState
from worker.spec import Spec
from worker.spec.manifest import Manifest
from worker.spec.requests.household import ChangesRequest, ThingRequest
from worker.spec.requests.household_document import HouseholdDocument
from worker.spec.requests.print_event import PrintEvent

__all__ = ["DrawerChange", "HeldContents", "Household", "LocatedThing"]


@dataclass(frozen=True, slots=True)
class LocatedThing:
    """A thing that matches a query: how well, from 0 to 1, where it lies, and that in a sentence."""

    thing: StoredThing
    score: float
    places: tuple[Whereabouts, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class DrawerChange:
    """A change of a drawer: the spec to lay out, and the spare pieces that it may use, by their marks in it."""

    drawer: StoredDrawer
    spec: Spec
    spares: dict[str, list[StoredPiece]]

    def with_used(self, changes: DrawerChanges) -> Spec:
        """Return the spec with those spare pieces only that the layout uses, as a job is to have it."""
        if not isinstance(self.spec.previous, Manifest):
            return self.spec
        held = self.spec.previous.model_copy(
            update={"drawers": tuple(entry for entry in self.spec.previous.drawers if entry.name != SPARES)}
        )
        used = [piece for reused in changes.reuse for piece in reused.pieces]
        previous, _ = with_spares(reduced(held, held.drawers[0]), used)
        return self.spec.model_copy(update={"previous": previous})


@dataclass(frozen=True, slots=True)
class HeldContents:
    """What a drawer holds: its layout with the pieces that lie there, and its pieces without a place."""

    drawer: StoredDrawer
    layout: DrawerLayout
    manifest: Manifest
    places: tuple[LaidPlacement, ...]
    others: tuple[StoredPiece, ...]


class Household:
    """Drawers, things and pieces. Callers pass the owner, or None for all owners."""

    def __init__(self, database: Engine) -> None:
        """Use this database."""
        self._database = database
        self.drawers = DrawerRecords(database)
        self.things = ThingRecords(database)
        self.pieces = PieceRecords(database)
        self.silhouettes = SilhouetteRecords(database)
        self._search = ThingSearch(database)

    def resolve(self, document: object, owner: str | None) -> object:
        """Return a spec, as JSON, with what the drawers, things and silhouettes that it names by id have.

        Raises:
            DrawerNotFound, ThingNotFound, SilhouetteNotFound, SpecError: as
                `worker.jobs.household.references.resolve`.
        """
        return resolve(document, self.drawers, self.things, self.silhouettes, owner)

    def contents(self, drawer_id: str, owner: str | None) -> HeldContents:
        """Return what a drawer holds.

        Raises:
            DrawerNotFound: if it does not exist, or has another owner.
            DrawerNotLaidOut: if no piece was placed in it yet.
        """
        drawer = self.drawers.find(drawer_id, owner)
        if drawer.layout is None:
            remedy = "Record pieces of a job that names the drawer as placed, or PUT its layout."
            raise DrawerNotLaidOut(value=drawer_id, remedy=remedy)
        pieces = self.pieces.of_drawer(drawer_id)
        manifest = drawer.layout.manifest
        places = tuple(laid_placements(manifest, manifest.drawers[0], pieces))
        lying = {place.piece.id for place in places if place.piece is not None}
        others = tuple(piece for piece in pieces if piece.id not in lying)
        return HeldContents(drawer, drawer.layout, manifest, places, others)

    def export(self, owner: str | None) -> HouseholdDocument:
        """Return the household as one document; the same household gives the same document."""
        return export_household(self._database, owner)

    def add(self, owner: str, document: HouseholdDocument, *, new_ids: bool = False) -> None:
        """Add a household, all of it or nothing; raise as `worker.jobs.household.transfer.import_household`."""
        import_household(self._database, owner, document, new_ids=new_ids)

    def report(self, owner: str | None, drawer_id: str | None = None) -> Report:
        """Return what could be tidied in all drawers, or in one.

        Raises:
            DrawerNotFound: if there is no such drawer, or it has another owner.
        """
        if drawer_id is not None:
            self.drawers.find(drawer_id, owner)
        drawers = self.drawers.list(owner, MOST_ROWS["drawers"])[::-1]
        things = self.things.list(owner, MOST_ROWS["things"])[::-1]
        places = self.things.in_drawers([drawer.id for drawer in drawers] if drawer_id is None else [drawer_id])
        return report_of(drawers, things, places, drawer_id)

    def locate(self, query: str, owner: str | None, limit: int) -> list[LocatedThing]:
        """Return up to ``limit`` things that match a query, best first, with where they lie."""
        return self._located(self._search.find(query, owner, limit))

    def _located(self, matches: Sequence[MatchedThing]) -> list[LocatedThing]:
        places = self.things.places([match.thing.id for match in matches])
        ids = {drawer_id for entries in places.values() for drawer_id, _ in entries}
        ids |= {match.thing.request.drawer for match in matches if match.thing.request.drawer is not None}
        drawers = self.drawers.by_id(ids)
        placed = self.pieces.placed_numbers(ids)
        located = []
        for match in matches:
            own = tuple(
                _whereabouts(drawers[drawer_id], number, placed[drawer_id])
                for drawer_id, number in places.get(match.thing.id, ())
                if drawer_id in drawers  # it may have been removed meanwhile
            )
            sentence = sentence_of(match.thing, own, drawers.get(match.thing.request.drawer or ""))
            located.append(LocatedThing(match.thing, match.score, own, sentence))
        return located

    @staticmethod
    def effects(job: PrintedJob, event: PrintEvent) -> Callable[[Connection, PrintState | None, PrintState], None]:
        """Return what records the effects of an event, given a transaction and the states before and after."""

        def follow(connection: Connection, before: PrintState | None, after: PrintState) -> None:
            follow_event(connection, job, event, before, after)

        return follow

    def change(self, drawer_id: str, owner: str | None, request: ChangesRequest) -> DrawerChange:
        """Return the spec of a drawer with other things, to be laid out against what is printed.

        Raises:
            DrawerNotFound, ThingNotFound: if one does not exist, or has another owner.
            DrawerNotLaidOut: if no piece was placed in it yet.
            HouseholdRefused: if a change names a thing of another drawer, or the drawer cannot be planned so.
        """
        held = self.contents(drawer_id, owner)
        added = [self.things.find(thing_id, owner) for thing_id in request.add]
        things = changed_things(self.things.of_drawer(drawer_id), added, request)
        spares = self.pieces.unused(held.drawer.owner)
        previous, by_mark = with_spares(held.manifest, spares)
        outlines = outline_finder(self.silhouettes, owner)
        return DrawerChange(held.drawer, change_spec(held.drawer, held.layout, things, previous, outlines), by_mark)

    def apply(self, drawer_id: str, owner: str | None, request: ChangesRequest) -> None:
        """Record changes of a drawer's things: where they belong, and their counts; raises as `change`."""
        for thing_id in (*request.add, *request.counts, *request.remove):
            thing = self.things.find(thing_id, owner)
            drawer = None if thing_id in request.remove else drawer_id
            count = request.counts.get(thing_id, thing.request.count)
            changed = thing.request.model_dump(exclude_unset=True) | {"drawer": drawer, "count": count}
            self.things.replace(thing_id, owner, ThingRequest(**changed))

    def lay_out(
        self, drawer_id: str, owner: str | None, job: PrintedJob, name: str | None, revision: int | None = None
    ) -> StoredDrawer:
        """Record that a drawer is as a job laid it out, with a piece in every place.

        Args:
            drawer_id: the drawer.
            owner: its owner.
            job: a job that succeeded.
            name: the drawer's name in the job; None for the one with this id, this name, or the only one.
            revision: the drawer's revision that the caller has seen; None for any.

        Raises:
            DrawerNotFound: if it does not exist, or has another owner.
            HouseholdRefused: if the job has no such drawer.
            PreconditionFailed: if it has another revision.
        """
        with self._database.begin() as connection:
            row = DRAWERS.row(connection, drawer_id, owner)
            chosen = _name_in_job(job, drawer_id, row.name, name)
            DRAWERS.change(connection, drawer_id, owner, {}, revision)
            place_whole_drawer(connection, job, drawer_id, row.owner, chosen)
            return drawer_of(DRAWERS.row(connection, drawer_id, owner))


def _whereabouts(drawer: StoredDrawer, number: int, placed: Collection[int]) -> Whereabouts:
    """Return where the contents with this index in a drawer's layout lie."""
    if drawer.layout is None:
        raise DrawerNotLaidOut(value=drawer.id)  # places are recorded with a layout only
    manifest = drawer.layout.manifest
    (entry,) = manifest.drawers
    content = entry.contents[number]
    if content.placement is None:
        strips = {index for panel in entry.panels for index in panel.strips}
        return whereabouts_in_lane(drawer, entry, content, placed=strips <= set(placed))
    parts = {part.mark: part for part in manifest.parts}
    return whereabouts_of(drawer, entry, parts, content, placed=content.placement in placed)


def _name_in_job(job: PrintedJob, drawer_id: str, own: str, given: str | None) -> str:
    """Return the name that a drawer has in a job."""
    entries = {entry.name: entry for entry in job.manifest.drawers}
    if given is None:
        same = [name for name, identity in job.drawer_ids.items() if identity == drawer_id]
        only = list(entries) if len(entries) == 1 else []
        given = next(iter([*same, *(name for name in entries if name == own), *only]), None)
    entry = None if given is None else entries.get(given)
    if entry is None:
        raise HouseholdRefused(
            "The job has no such drawer.",
            pointer="/drawer", value=given, limit=", ".join(list(entries)[:20]), remedy="Give its name in the job.",
        )  # fmt: skip
    return entry.name

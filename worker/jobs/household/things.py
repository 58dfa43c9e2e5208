"""The things of a household."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, delete, insert, or_, select, update

from worker.jobs.common.errors import SilhouetteNotFound, ThingNotFound
from worker.jobs.database.db_clock import utc_now
from worker.jobs.database.tables import SilhouetteRow, ThingPlaceRow, ThingRow
from worker.jobs.household.drawers import DRAWERS
from worker.jobs.household.models import StoredThing, thing_of
from worker.jobs.household.owned_rows import OwnedRows
from worker.jobs.household.thing_search import index_thing
from worker.jobs.records.job_filters import contains, has_tag
from worker.jobs.records.row_mapping import tags_text
from worker.spec.items.item import Access
from worker.spec.items.shape import SilhouetteShape
from worker.spec.requests.household import ThingRequest

__all__ = ["THINGS", "ThingFilters", "ThingRecords", "place_things", "thing_values"]

#: The rows of things.
THINGS = OwnedRows(ThingRow, ThingNotFound)

#: Ids per statement.
_BATCH = 500


@dataclass(frozen=True, slots=True)
class ThingFilters:
    """Conditions on listed things; None sets none. ``name`` is a part of the name, ``drawer`` an id."""

    name: str | None = None
    tag: str | None = None
    drawer: str | None = None
    access: Access | None = None

    def conditions(self) -> list[Any]:
        """Return the conditions on rows of things."""
        made: list[Any] = []
        if self.name is not None:
            made.append(contains(ThingRow.name, self.name))
        if self.tag is not None:
            made.append(has_tag(ThingRow.tags, self.tag))
        if self.drawer is not None:
            made.append(ThingRow.drawer_id == self.drawer)
        if self.access is not None:
            made.append(ThingRow.access == self.access)
        return made


class ThingRecords:
    """Reads and writes things; an ``owner`` of None stands for all owners."""

    def __init__(self, database: Engine) -> None:
        """Use this database."""
        self._database = database

    def create(self, owner: str, request: ThingRequest) -> StoredThing:
        """Add a thing.

        Raises:
            DrawerNotFound, SilhouetteNotFound: if the owner has no such drawer or silhouette.
            QuotaReached: if the owner has the maximum number of things.
        """
        with self._database.begin() as connection:
            thing_id = THINGS.add(connection, owner, _values(connection, request, owner))
            index_thing(connection, thing_id, owner, request)
            return thing_of(THINGS.row(connection, thing_id, owner))

    def find(self, thing_id: str, owner: str | None) -> StoredThing:
        """Return a thing.

        Raises:
            ThingNotFound: if it does not exist, or has another owner.
        """
        with self._database.connect() as connection:
            return thing_of(THINGS.row(connection, thing_id, owner))

    def list(
        self, owner: str | None, limit: int, after: str | None = None, filters: ThingFilters | None = None
    ) -> "list[StoredThing]":
        """Return up to ``limit`` things, newest first."""
        conditions = () if filters is None else filters.conditions()
        with self._database.connect() as connection:
            return [thing_of(row) for row in THINGS.rows(connection, owner, *conditions, limit=limit, after=after)]

    def of_drawer(self, drawer_id: str) -> Sequence[StoredThing]:
        """Return the things that belong in a drawer, oldest first."""
        query = select(*ThingRow.__table__.columns).where(ThingRow.drawer_id == drawer_id).order_by(ThingRow.id)
        with self._database.connect() as connection:
            return [thing_of(row) for row in connection.execute(query)]

    def replace(
        self, thing_id: str, owner: str | None, request: ThingRequest, revision: int | None = None
    ) -> StoredThing:
        """Replace what describes a thing.

        Raises:
            ThingNotFound: if it does not exist, or has another owner.
            DrawerNotFound, SilhouetteNotFound: if the owner has no such drawer or silhouette.
            PreconditionFailed: if ``revision`` is given and is not its current one.
        """
        with self._database.begin() as connection:
            row = THINGS.row(connection, thing_id, owner)
            THINGS.change(connection, thing_id, owner, _values(connection, request, row.owner), revision)
            index_thing(connection, thing_id, row.owner, request)
            if request.drawer != row.drawer_id:  # it does not lie there any more
                connection.execute(delete(ThingPlaceRow).where(ThingPlaceRow.thing_id == thing_id))
            return thing_of(THINGS.row(connection, thing_id, owner))

    def remove(self, thing_id: str, owner: str | None, revision: int | None = None) -> None:
        """Delete a thing; raise as `replace`."""
        with self._database.begin() as connection:
            THINGS.remove(connection, thing_id, owner, revision)

    def places(self, thing_ids: Collection[str]) -> Mapping[str, Sequence[tuple[str, int]]]:
        """Return where things lie, by thing: the drawer's id and the index in the contents of its layout."""
        places: dict[str, list[tuple[str, int]]] = {}
        ids = list(thing_ids)
        with self._database.connect() as connection:
            for start in range(0, len(ids), _BATCH):
                query = select(ThingPlaceRow.thing_id, ThingPlaceRow.drawer_id, ThingPlaceRow.number)
                query = query.where(ThingPlaceRow.thing_id.in_(ids[start : start + _BATCH]))
                for thing_id, drawer_id, number in connection.execute(query.order_by(ThingPlaceRow.number)):
                    places.setdefault(thing_id, []).append((drawer_id, number))
        return places

    def in_drawer(self, drawer_id: str) -> dict[int, str]:
        """Return the ids of things by their index in the contents of a drawer's layout."""
        query = select(ThingPlaceRow.number, ThingPlaceRow.thing_id).where(ThingPlaceRow.drawer_id == drawer_id)
        with self._database.connect() as connection:
            return {row.number: row.thing_id for row in connection.execute(query)}

    def in_drawers(self, drawer_ids: Collection[str]) -> dict[str, dict[int, str]]:
        """Return the ids of things by drawer and index in the contents of its layout."""
        numbers: dict[str, dict[int, str]] = {}
        ids = list(drawer_ids)
        with self._database.connect() as connection:
            for start in range(0, len(ids), _BATCH):
                query = select(ThingPlaceRow.drawer_id, ThingPlaceRow.number, ThingPlaceRow.thing_id)
                query = query.where(ThingPlaceRow.drawer_id.in_(ids[start : start + _BATCH]))
                for drawer_id, number, thing_id in connection.execute(query):
                    numbers.setdefault(drawer_id, {})[number] = thing_id
        return numbers


def place_things(connection: Connection, drawer_id: str, owner: str, numbers: Mapping[int, str]) -> None:
    """Record which thing each of the contents of a drawer's new layout is.

    Args:
        connection: inside a transaction.
        drawer_id: the drawer.
        owner: its owner; ids of other owners' things are ignored.
        numbers: ids of things by index in the contents.
    """
    lain = set(connection.scalars(select(ThingPlaceRow.thing_id).where(ThingPlaceRow.drawer_id == drawer_id)))
    connection.execute(delete(ThingPlaceRow).where(ThingPlaceRow.drawer_id == drawer_id))
    query = select(ThingRow.id).where(ThingRow.id.in_(set(numbers.values())), ThingRow.owner == owner)
    owned = set(connection.scalars(query))
    rows = [
        {"drawer_id": drawer_id, "number": number, "thing_id": thing_id}
        for number, thing_id in numbers.items()
        if thing_id in owned
    ]
    if rows:
        connection.execute(insert(ThingPlaceRow), rows)
    touched = update(ThingRow).where(ThingRow.id.in_(lain | owned))
    connection.execute(touched.values(updated=utc_now(), revision=ThingRow.revision + 1))
    homeless = or_(ThingRow.drawer_id.is_(None), ThingRow.drawer_id != drawer_id)
    connection.execute(update(ThingRow).where(ThingRow.id.in_(owned), homeless).values(drawer_id=drawer_id))


def thing_values(request: ThingRequest) -> dict[str, Any]:
    """Return what a row has of the description of a thing."""
    return {
        "name": request.name,
        "document": request.model_dump_json(exclude_unset=True, exclude={"drawer"}),
        "tags": tags_text(request.tags),
        "access": request.access,
        "drawer_id": request.drawer,
    }


def _values(connection: Connection, request: ThingRequest, owner: str) -> dict[str, Any]:
    if request.drawer is not None:
        DRAWERS.row(connection, request.drawer, owner)
    if isinstance(request.shape, SilhouetteShape):
        own = (SilhouetteRow.id == request.shape.id, SilhouetteRow.owner == owner)
        if connection.scalar(select(SilhouetteRow.id).where(*own)) is None:
            raise SilhouetteNotFound(pointer="/shape/id", value=request.shape.id)
    return thing_values(request)

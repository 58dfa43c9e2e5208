"""References: drawers, things and silhouettes of the household that a spec names by id.

They are resolved when the spec arrives, so that it is complete from then on: later changes of a drawer or thing do not
change the job.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from worker.jobs.common.errors import DrawerNotFound, ThingNotFound
from worker.jobs.household.drawers import DrawerRecords
from worker.jobs.household.models import StoredDrawer, StoredThing
from worker.jobs.household.outline_shapes import names_silhouette, outline_finder, with_outlines
from worker.jobs.household.things import ThingRecords
from worker.jobs.records.silhouettes import SilhouetteRecords
from worker.spec.errors import SpecError

__all__ = ["item_of", "resolve"]

#: Fields of a spec that a drawer of the household can have values for.
_DEFAULTS: Final = ("printer", "grid", "material", "printing")


def resolve(
    document: object, drawers: DrawerRecords, things: ThingRecords, silhouettes: SilhouetteRecords, owner: str | None
) -> object:
    """Return a spec, as JSON, with what the drawers, things and silhouettes that it names by id have.

    What the spec says itself takes precedence. A drawer without `items` gets the things that belong in it, and fields
    of the whole spec that are not given are those of the drawers. Everything else is left as it is, valid or not.

    Args:
        document: the spec; it is not changed.
        drawers: drawers of the household.
        things: things of the household.
        silhouettes: silhouettes of the household.
        owner: whose drawers, things and silhouettes can be named; None for all.

    Raises:
        DrawerNotFound, ThingNotFound, SilhouetteNotFound: if one does not exist, or has another owner; with its
            pointer.
        SpecError: if a thing has no shape, two drawers have different values for the whole spec, or a silhouette has no
            outline or height.
    """
    complete = _with_household(document, drawers, things, owner)
    return with_outlines(complete, outline_finder(silhouettes, owner)) if names_silhouette(complete) else complete


def _with_household(document: object, drawers: DrawerRecords, things: ThingRecords, owner: str | None) -> object:
    if not isinstance(document, dict):
        return document
    named = {at: entry["id"] for at, entry in _entries(document, "drawers") if isinstance(entry.get("id"), str)}
    if not named and not any(isinstance(item.get("id"), str) for _, item in _items(document)):
        return document
    drawers_by_pointer = {at: _drawer(drawers, drawer_id, owner, f"{at}/id") for at, drawer_id in named.items()}
    completion = _Completion(drawers_by_pointer, things, owner)
    made = _defaults(document, drawers_by_pointer) | document | completion.items("", document)
    if isinstance(document.get("drawers"), list):
        entries = document["drawers"]
        made["drawers"] = [completion.drawer(f"/drawers/{index}", entry) for index, entry in enumerate(entries)]
    return made


@dataclass(frozen=True, slots=True)
class _Completion:
    """Completes the entries of one spec; ``drawers`` are those that it names, by the pointers of their entries."""

    drawers: Mapping[str, StoredDrawer]
    things: ThingRecords
    owner: str | None

    def drawer(self, at: str, entry: Any) -> Any:
        """Return an entry of `drawers` with the fields of its drawer and of the things in its items."""
        if not isinstance(entry, dict):
            return entry
        drawer = self.drawers.get(at)
        if drawer is None:
            return entry | self.items(at, entry)
        own = drawer.request.as_drawer() | entry
        if "items" in entry:
            return own | self.items(at, entry)
        belonging = [thing for thing in self.things.of_drawer(drawer.id) if thing.request.shape is not None]
        return own | {"items": [item_of(thing, {}, at) for thing in belonging]}

    def items(self, at: str, entry: dict[str, Any]) -> dict[str, Any]:
        """Return the field `items` of the spec or a drawer, if it has one."""
        if not isinstance(entry.get("items"), list):
            return {}
        return {"items": [self._item(f"{at}/items/{index}", item) for index, item in enumerate(entry["items"])]}

    def _item(self, at: str, item: Any) -> Any:
        if not isinstance(item, dict) or not isinstance(item.get("id"), str):
            return item
        try:
            thing = self.things.find(item["id"], self.owner)
        except ThingNotFound:
            raise ThingNotFound(pointer=f"{at}/id", value=item["id"]) from None
        return item_of(thing, item, f"{at}/id")


def item_of(thing: StoredThing, given: dict[str, Any], pointer: str) -> dict[str, Any]:
    """Return a thing as an item of a spec, as JSON, with these fields instead of its own.

    Raises:
        SpecError: if neither has a shape.
    """
    item = thing.request.as_item() | given | {"id": thing.id}
    if item.get("shape") is None:
        raise SpecError(
            f"{thing.request.name} has no shape, so no place can be made for it.",
            pointer=pointer, value=thing.id, limit="a thing with a shape",
            remedy="Give the thing a shape (PUT /v1/things/{id}), or the item.",
        )  # fmt: skip
    return item


def _drawer(drawers: DrawerRecords, drawer_id: str, owner: str | None, pointer: str) -> StoredDrawer:
    try:
        return drawers.find(drawer_id, owner)
    except DrawerNotFound:
        raise DrawerNotFound(pointer=pointer, value=drawer_id) from None


def _defaults(document: dict[str, Any], drawers: dict[str, StoredDrawer]) -> dict[str, Any]:
    """Return the fields of the whole spec that the drawers have and the spec has not."""
    made: dict[str, Any] = {}
    for at, drawer in drawers.items():
        for name, value in drawer.request.defaults().items():
            if name in document or (name == "printer" and "printers" in document):
                continue
            if made.setdefault(name, value) != value:
                raise SpecError(
                    f"The drawers of the household have different values for {name}.",
                    pointer=f"/{name}", value=at, limit="one for all drawers of a job",
                    remedy=f"Give the spec a {name}, or submit a job for each drawer.",
                )  # fmt: skip
    return made


def _items(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    yield from _entries(document, "items")
    for at, entry in _entries(document, "drawers"):
        for below, item in _entries(entry, "items"):
            yield f"{at}{below}", item


def _entries(document: dict[str, Any], name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    entries = document.get(name)
    for index, entry in enumerate(entries if isinstance(entries, list) else ()):
        if isinstance(entry, dict):
            yield f"/{name}/{index}", entry

"""Outlines in specs: shapes and pockets that name a silhouette become polygons when the spec arrives."""

from collections.abc import Callable
from math import cos, radians, sin
from typing import Any, Final, TypeAlias

from worker.jobs.common.errors import SilhouetteNotFound
from worker.jobs.records.silhouettes import SilhouetteRecords
from worker.spec.drawer.pocket import SilhouettePocket
from worker.spec.errors import SpecError
from worker.spec.items.shape import SilhouetteShape
from worker.spec.reading.loader import load_as

__all__ = ["FindOutline", "names_silhouette", "outline_finder", "polygon_shape", "with_outlines"]

#: Returns the outline of a silhouette as JSON; the second argument is the pointer of its id.
FindOutline: TypeAlias = Callable[[str, str], dict[str, Any]]

_KIND: Final = "silhouette"

#: Depth of an engraved outline, mm: three layers of 0.2 mm.
_GROOVE: Final = 0.6

#: Fields of a pocket that the polygon in its place has not, or has with other values; the nested one has some of them.
_NESTING: Final = frozenset({"count", "turns", "mirrored", "engraved"})
_REPLACED: Final = frozenset({"shape", "id", "at", "turn", "depth"}) | _NESTING


def outline_finder(silhouettes: SilhouetteRecords, owner: str | None) -> FindOutline:
    """Return a function that finds outlines of an owner's silhouettes.

    It raises `SilhouetteNotFound`, or `SpecError` if there is no outline, with the pointer.
    """

    def find(silhouette_id: str, pointer: str) -> dict[str, Any]:
        try:
            silhouette = silhouettes.find(silhouette_id, owner)
        except SilhouetteNotFound:
            raise SilhouetteNotFound(pointer=pointer, value=silhouette_id) from None
        if silhouette.result is None:
            raise SpecError(
                "The silhouette has no outline.", pointer=pointer, value=silhouette.state, limit="succeeded",
                remedy="Wait until it has been read, or correct its outline.",
            )  # fmt: skip
        outline: dict[str, Any] = silhouette.result["outline"]
        return outline

    return find


def names_silhouette(value: object) -> bool:
    """Return whether some part of a JSON document names a silhouette."""
    if isinstance(value, dict):
        return _KIND in (value.get("kind"), value.get("shape")) or any(map(names_silhouette, value.values()))
    return isinstance(value, list) and any(map(names_silhouette, value))


def with_outlines(document: Any, find: FindOutline) -> Any:
    """Return a spec, as JSON, whose items and pockets have polygons instead of silhouettes.

    Raises:
        SilhouetteNotFound: as ``find``.
        SpecError: if a silhouette has no outline, a reference is invalid, or a height is known to neither of them.
    """
    if not isinstance(document, dict):
        return document
    made = document | _items(document, "", find)
    if isinstance(document.get("drawers"), list):
        made["drawers"] = [_drawer(entry, f"/drawers/{at}", find) for at, entry in enumerate(document["drawers"])]
    return made


def polygon_shape(shape: SilhouetteShape, outline: dict[str, Any], pointer: str) -> dict[str, Any]:
    """Return the polygon, as JSON of a shape, that stands for a silhouette.

    Raises:
        SpecError: if the height is known to neither of them.
    """
    height = shape.height if shape.height is not None else outline["depth"]
    if height is None:
        raise _no_height(pointer, "height")
    return {"kind": "polygon", "points": outline["corners"], "height": height}


def _drawer(entry: Any, at: str, find: FindOutline) -> Any:
    if not isinstance(entry, dict):
        return entry
    made = entry | _items(entry, at, find)
    if isinstance(entry.get("trays"), list):
        made["trays"] = [_tray(tray, f"{at}/trays/{number}", find) for number, tray in enumerate(entry["trays"])]
    return made


def _items(entry: dict[str, Any], at: str, find: FindOutline) -> dict[str, Any]:
    if not isinstance(entry.get("items"), list):
        return {}
    return {"items": [_item(item, f"{at}/items/{number}", find) for number, item in enumerate(entry["items"])]}


def _item(item: Any, at: str, find: FindOutline) -> Any:
    shape = item.get("shape") if isinstance(item, dict) else None
    if not isinstance(shape, dict) or shape.get("kind") != _KIND:
        return item
    reference = _model(SilhouetteShape, shape, f"{at}/shape")
    return item | {"shape": polygon_shape(reference, find(reference.id, f"{at}/shape/id"), f"{at}/shape")}


def _tray(tray: Any, at: str, find: FindOutline) -> Any:
    if not isinstance(tray, dict) or not isinstance(tray.get("pockets"), list):
        return tray
    pockets = [_pocket(pocket, f"{at}/pockets/{number}", find) for number, pocket in enumerate(tray["pockets"])]
    return tray | {"pockets": pockets}


def _pocket(pocket: Any, at: str, find: FindOutline) -> Any:
    if not isinstance(pocket, dict) or pocket.get("shape") != _KIND:
        return pocket
    reference = _model(SilhouettePocket, pocket, at)
    outline = find(reference.id, f"{at}/id")
    depth = reference.depth
    if depth is None and reference.engraved:
        depth = _GROOVE
    if depth is None:
        if outline["depth"] is None:
            raise _no_height(at, "depth")
        depth = max(outline["depth"] / 2.0, 0.5)
    if reference.at is None:
        others = {name: value for name, value in pocket.items() if name not in _REPLACED - _NESTING}
        return {**others, "shape": "nested", "points": outline["corners"], "depth": depth}
    others = {name: value for name, value in pocket.items() if name not in _REPLACED}
    points = _placed(outline["corners"], reference.at, reference.turn)
    return {**others, "shape": "polygon", "points": points, "depth": depth}


def _placed(corners: list[list[float]], at: tuple[float, float], turn: float) -> list[list[float]]:
    """Return corners turned counter-clockwise, with the front left corner of their box at a point."""
    across, along = cos(radians(turn)), sin(radians(turn))
    turned = [(x * across - y * along, x * along + y * across) for x, y in corners]
    left, front = min(x for x, _ in turned), min(y for _, y in turned)
    return [[round(x - left + at[0], 3), round(y - front + at[1], 3)] for x, y in turned]


def _model(model: Any, value: dict[str, Any], at: str) -> Any:
    """Return a reference as its model; the pointers of its problems start at ``at``."""
    try:
        return load_as(model, value)
    except SpecError as error:
        for fault in (error, *error.errors):
            fault.pointer = f"{at}{fault.pointer or ''}"
        raise


def _no_height(pointer: str, name: str) -> SpecError:
    return SpecError(
        "The silhouette does not say how high the thing is.", pointer=pointer, value=None, limit=f"a {name}",
        remedy=f"Give the reference a {name}, or the silhouette a depth (PUT /v1/silhouettes/{{id}}/outline).",
    )  # fmt: skip

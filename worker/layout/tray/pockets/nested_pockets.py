"""Nested pockets in their places: each becomes a pocket with corners, and a notch at its best grip.

An engraved outline becomes the groove along it; beside it a finger may be left room at the best grip.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple, cast

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from worker.layout.model.shapes import Ring
from worker.layout.tray.grip import Grip, best_grips, finger_slot, principal_turn
from worker.layout.tray.interior import Room
from worker.layout.tray.pockets.nesting import MOST_WORK, Laid, Motion, NestingPiece, nested
from worker.layout.tray.pockets.pocket_outline import CHAMFERS, NOTCH_REACHES, outline_of, recess
from worker.spec.drawer.pocket import MOST_POCKETS, NestedPocket, Notch, PolygonPocket

__all__ = ["PlacedNested", "nested_pockets"]

#: What rounding to the coordinate grid may take between two pockets, mm.
_ROUNDING: Final = 0.01
#: Least width of a groove that is seen, mm; it is open for as much, which is a wall between its ends.
_LEAST_GROOVE: Final = 1.0
#: What the side that a groove is open in is longer than that, mm: both ends then lie on it. Outlines whose sides are
#: all shorter are simplified by so much, which their clearance takes.
_BESIDE_OPEN: Final = 0.5
_SIMPLIFIED: Final = (0.0, 0.05, 0.1)
_QUARTERS: Final = (0.0, 90.0, 180.0, 270.0)
_ANY: Final = tuple(15.0 * step for step in range(24))


class PlacedNested(NamedTuple):
    """A nested pocket in its place: the number of its entry in the tray's list, the pocket, and its item's outline.

    Both are measured from the tray's inner corner, mm. The pocket of an engraved outline is the groove.
    """

    entry: int
    pocket: PolygonPocket
    item: Ring


def nested_pockets(
    room: Room,
    inside: Polygon,
    taken: Sequence[BaseGeometry],
    *,
    finger: tuple[float, float] | None = None,
    most_work: int = MOST_WORK,
) -> list[PlacedNested]:
    """Return the nested pockets of a tray in their places.

    Args:
        room: the tray.
        inside: where pockets may lie, in the part's frame, mm.
        taken: the other pockets with their notches.
        finger: width and reach of the room that a finger has beside each engraved outline, mm; None for none.
        most_work: the search ends after so many correlations.

    Raises:
        TrayError: if there is no room for one of them, or there are too many.
    """
    entries = [(index, spec) for index, spec in enumerate(room.tray.pockets) if isinstance(spec, NestedPocket)]
    if not entries:
        return []
    most = MOST_POCKETS - (len(room.tray.pockets) - len(entries))
    if sum(spec.count for _, spec in entries) > most:
        index, spec = entries[-1]
        raise room.refusal(
            "it has too many pockets.", "pockets", index, "count",
            value=spec.count, limit=f"{MOST_POCKETS} in a tray, copies counted", remedy="Use two trays.",
        )  # fmt: skip
    web = room.lines + 2.0 * CHAMFERS[0] + _ROUNDING
    area = shapely.to_wkb(inside.buffer(-_ROUNDING))
    groove = max(_LEAST_GROOVE, room.lines)
    specs = tuple(spec for _, spec in entries)
    for index, spec in entries:
        if spec.engraved and _groove(spec, Polygon(spec.points), groove) is None:
            raise room.refusal(
                f"the outline of pocket {index + 1} is too narrow to be engraved.", "pockets", index, "engraved",
                value=True, limit=f"a groove of {groove:g} mm that does not meet itself", remedy="Make it a pocket.",
            )  # fmt: skip
    places, missing = _places(
        specs, area, tuple(map(shapely.to_wkb, taken)), web, groove, finger=finger, most_work=most_work
    )
    if missing is not None:
        index, _ = entries[missing]
        raise room.refusal(
            f"pocket {index + 1} has no room beside the others.", "pockets", index,
            value=None, limit=f"{web:.2f} mm between pockets, inside {room.inner[0]:g} x {room.inner[1]:g} mm",
            remedy="Use a larger tray, let it be turned or mirrored, or leave its notch out.",
        )  # fmt: skip
    return [
        PlacedNested(entries[number][0], *_placed(entries[number][1], laid, grip, room.wall, groove))
        for number, laid, grip in places
    ]


@lru_cache(maxsize=512)
def _places(
    specs: tuple[NestedPocket, ...],
    area: bytes,
    taken: tuple[bytes, ...],
    web: float,
    groove: float,
    *,
    finger: tuple[float, float] | None,
    most_work: int,
) -> tuple[list[tuple[int, Laid, Grip | None]], int | None]:
    """Return where each copy of each pocket lies, and its grip before it is turned; or a pocket without room."""
    missing: int | None = None
    for reach in NOTCH_REACHES:
        pieces: list[NestingPiece] = []
        owners: list[tuple[int, Grip | None]] = []
        for number, spec in enumerate(specs):
            item = recess(_polygon(spec), (0.0, 0.0))
            if spec.engraved:
                item = item.buffer(groove, join_style="mitre")
                grip, shape = None, _beside_finger(item, finger)
            else:
                grip, shape = _gripped(spec, item, reach)
            pieces += [NestingPiece(shape, _stages(spec))] * spec.count
            owners += [(number, grip)] * spec.count
        taken_shapes = [shapely.from_wkb(shape) for shape in taken]
        laid, piece = nested(pieces, cast("Polygon", shapely.from_wkb(area)), taken_shapes, web, most_work)
        if piece is None:
            return [(*owners[each.piece][:1], each, owners[each.piece][1]) for each in laid], None
        missing = owners[piece][0]
        if all(spec.notch is None or spec.engraved for spec in specs):
            break
    return [], missing


def _gripped(spec: NestedPocket, item: BaseGeometry, reach: float) -> tuple[Grip | None, BaseGeometry]:
    """Return the grip of an item, and the item with its notch: the first that leaves one area without holes."""
    if spec.notch is None or not isinstance(item, Polygon):
        return None, item
    width = spec.notch.width
    grips = best_grips(outline_of(item), width)
    if spec.notch.at is not None:
        grips = (Grip(spec.notch.at, spec.notch.turn),)
    for grip in grips:
        both = item | finger_slot(item, grip, width, reach)
        if isinstance(both, Polygon) and not both.interiors:
            return grip, both
    return grips[0], item | finger_slot(item, grips[0], width, reach)


def _beside_finger(item: BaseGeometry, finger: tuple[float, float] | None) -> BaseGeometry:
    """Return an item with the room that a finger has on one side of its best grip."""
    if finger is None or not isinstance(item, Polygon):
        return item
    width, reach = finger
    (grip, *_) = best_grips(outline_of(item), width)
    return item | finger_slot(item, grip, width, reach, one_side=True)


def _stages(spec: NestedPocket) -> tuple[tuple[Motion, ...], ...]:
    """Return the ways a pocket may be turned: first along the tray's sides."""
    if spec.turns == "any":
        main = principal_turn(spec.points)
        turns = [tuple(turn - main for turn in some) for some in (_QUARTERS, _ANY)]
        mirrored = [tuple(turn + main for turn in some) for some in (_QUARTERS, _ANY)]
    else:
        turns = mirrored = [_QUARTERS if spec.turns == "quarters" else (0.0,)]
    return tuple(
        (
            *(Motion(turn % 360.0) for turn in plain),
            *(Motion(turn % 360.0, mirrored=True) for turn in flipped if spec.mirrored),
        )
        for plain, flipped in zip(turns, mirrored, strict=True)
    )


def _groove(spec: NestedPocket, item: Polygon, width: float) -> Polygon | None:
    """Return the groove along an item's outline with its clearance, open in the middle of its longest side.

    None if it meets itself, or has no side that is long enough. Open, it is one ring without a hole, as any pocket.
    """
    for tolerance in _SIMPLIFIED:
        inner = item.simplify(tolerance).buffer(spec.clearance, join_style="mitre")
        if not isinstance(inner, Polygon) or inner.interiors:
            return None
        corners = shapely.get_coordinates(inner.exterior)
        sides = np.linalg.norm(np.diff(corners, axis=0), axis=1)
        longest = int(np.argmax(np.round(sides, 3)))
        if sides[longest] >= width + _BESIDE_OPEN:
            break
    else:
        return None
    band = inner.buffer(width, join_style="mitre", mitre_limit=2.0) - inner
    middle = shapely.LineString(corners[longest : longest + 2])
    half = width / 2.0
    gap = middle.interpolate(0.5, normalized=True).buffer(width + half)
    within = shapely.LineString(
        [middle.interpolate(0.5 * sides[longest] + step).coords[0] for step in (-half, half)]
    ).buffer(width + half, cap_style="flat")
    groove = band - (gap & within)
    return groove if isinstance(groove, Polygon) and not groove.interiors else None


def _placed(
    spec: NestedPocket, laid: Laid, grip: Grip | None, wall: float, groove: float
) -> tuple[PolygonPocket, Ring]:
    """Return a pocket in its place and the outline of its item, measured from the tray's inner corner."""
    place = Laid(laid.piece, laid.motion, (laid.by[0] - wall, laid.by[1] - wall))
    notch = None
    if grip is not None and spec.notch is not None:
        at = shapely.get_coordinates(place.applied(shapely.Point(grip.at)))[0].tolist()
        turn = (180.0 - grip.turn if laid.motion.mirrored else grip.turn) + laid.motion.turn
        notch = Notch(width=spec.notch.width, at=(round(at[0], 3), round(at[1], 3)), turn=turn % 360.0)
    item = Polygon(spec.points)
    outline = _ring(place.applied(item))
    if not spec.engraved:
        return _polygon(spec, outline, notch), outline
    band = _ring(place.applied(_groove(spec, item, groove) or item))
    return _polygon(spec.model_copy(update={"clearance": 0.0}), band, notch), outline


def _ring(shape: BaseGeometry) -> Ring:
    return tuple((round(x, 3), round(y, 3)) for x, y in shapely.get_coordinates(shape)[:-1].tolist())


def _polygon(
    spec: NestedPocket, points: tuple[tuple[float, float], ...] | None = None, notch: Notch | None = None
) -> PolygonPocket:
    # not checked again: rounding a turned outline may bring two of its corners nearer than a caller's may be
    return PolygonPocket.model_construct(
        shape="polygon",
        points=points or spec.points,
        depth=spec.depth,
        clearance=spec.clearance,
        notch=notch,
        text=spec.text,
    )

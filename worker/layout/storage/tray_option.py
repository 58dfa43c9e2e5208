"""Tray options: a tray that could store an item, with the position of each thing in it."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

from worker.layout.storage.poses import Pose, reversed_pose
from worker.layout.storage.sizing_rules import LEDGE, DrawerLimits
from worker.layout.tray.interior import on_grid
from worker.spec.drawer.pocket import CirclePocket, Notch, PolygonPocket, RectanglePocket
from worker.spec.drawer.pocket import Pocket as PocketSpec
from worker.spec.drawer.tray import NO_RAMP, Divider, FingerRamp, Rim, Text, Tray
from worker.spec.items.item import Storage

__all__ = [
    "MOST_OPTIONS",
    "POCKET_CLEARANCE",
    "Bulk",
    "DividerWall",
    "Draft",
    "Filling",
    "Lot",
    "Nest",
    "Option",
    "PlacedThing",
    "content_box",
    "sensible",
]

Point3: TypeAlias = tuple[float, float, float]

#: An item has at most so many options: more help no placer, and cost it time.
MOST_OPTIONS: Final = 12

#: Air between a thing and its pocket, per side (fdm_rules, clearance-loose: 0.3 to 0.5).
POCKET_CLEARANCE: Final = 0.3

_LONGEST_NAME: Final = 80


@dataclass(frozen=True, slots=True)
class PlacedThing:
    """One thing in its pose: the least corner of its box in the tray's part frame."""

    item: str
    pose: Pose
    at: Point3


@dataclass(frozen=True, slots=True)
class Lot:
    """Things of one item in equal poses: the least corners of their boxes, bottom layer first.

    The places are the product of ``ups``, ``backs`` and ``acrosses``, of which the first ``count`` are taken. Along the
    axis ``alternate`` every other one lies the other way round, head to tail. Places are taken row by row from the
    front, or ``by_columns`` from the left.
    """

    item: str
    pose: Pose
    count: int
    acrosses: tuple[float, ...]
    backs: tuple[float, ...]
    ups: tuple[float, ...]
    alternate: int | None = None
    by_columns: bool = False

    @property
    def capacity(self) -> int:
        """How many would find room."""
        return len(self.acrosses) * len(self.backs) * len(self.ups)

    def things(self) -> Iterator[PlacedThing]:
        """Yield each thing."""
        opposite = self.pose if self.alternate is None else reversed_pose(self.pose)
        columns, rows = range(len(self.acrosses)), range(len(self.backs))
        taken = [(x, y) for x in columns for y in rows] if self.by_columns else [(x, y) for y in rows for x in columns]
        places = (
            (
                opposite if self.alternate is not None and cell[self.alternate] % 2 else self.pose,
                self.acrosses[cell[0]],
                self.backs[cell[1]],
                z,
            )
            for z in self.ups
            for cell in taken
        )
        for _, (pose, x, y, z) in zip(range(self.count), places, strict=False):
            yield PlacedThing(self.item, pose, (on_grid(x), on_grid(y), on_grid(z)))


@dataclass(frozen=True, slots=True)
class Bulk:
    """Loose things: the region that they fill, poured and levelled.

    With a ``ramp`` the region's front lower edge is rounded by this radius, as the ramp is.
    """

    item: str
    count: int
    at: Point3
    size: Point3
    capacity: int
    ramp: float | None = None


@dataclass(frozen=True, slots=True)
class Nest:
    """Things of one item that are nested beside each other: the pose of each, and the least corner of its box."""

    item: str
    poses: tuple[Pose, ...]
    places: tuple[Point3, ...]

    @property
    def count(self) -> int:
        """How many."""
        return len(self.poses)

    @property
    def capacity(self) -> int:
        """How many would find room: there is a pocket for each."""
        return len(self.poses)

    def things(self) -> Iterator[PlacedThing]:
        """Yield each thing."""
        for pose, at in zip(self.poses, self.places, strict=True):
            yield PlacedThing(self.item, pose, at)


#: Things of one item in a tray.
Content: TypeAlias = Lot | Bulk | Nest


def content_box(content: Content) -> tuple[Point3, Point3]:
    """Return the least corner and the size of the box around things, in the tray's part frame."""
    if isinstance(content, Bulk):
        return content.at, content.size
    things = list(content.things())
    x, y, z = (min(thing.at[axis] for thing in things) for axis in range(3))
    ends = [max(thing.at[axis] + thing.pose.size[axis] for thing in things) for axis in range(3)]
    return (x, y, z), (on_grid(ends[0] - x), on_grid(ends[1] - y), on_grid(ends[2] - z))


@dataclass(frozen=True, slots=True)
class DividerWall:
    """A divider: its axis, its middle from the inner face, its height over the floor (None: to under the rim).

    ``span`` is where it begins and ends along its length; None: from wall to wall.
    """

    axis: Literal["x", "y"]
    at: float
    height: float | None = None
    span: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Option:
    """One way to store one item, or several together.

    ``halves`` are the tray's sides in half cells; ``top`` is the highest point of tray and things over the drawer's
    bottom; ``plastic`` the tray's volume in mm3, in closed form. ``recess`` is the depth of pockets, one to a thing.
    ``pockets`` are those of nested things; ``engraved`` says that they are grooves, and the things lie on the floor.
    ``label`` is the label of the whole tray, ``labels`` those of its compartments from left to right.
    """

    items: tuple[str, ...]
    storages: tuple[Storage, ...]
    halves: tuple[int, int]
    height: float
    top: float
    rim: Rim
    plastic: float
    wall: float
    floor: float
    content: tuple[Content, ...]
    dividers: tuple[DividerWall, ...] = ()
    recess: float | None = None
    notched: bool = False
    pockets: tuple[PolygonPocket, ...] = ()
    engraved: bool = False
    ramp: float | None = None
    label: str | None = None
    labels: tuple[str | None, ...] = ()

    @property
    def half_feet(self) -> bool:
        """Whether it stands on half feet wherever it is placed."""
        return any(along % 2 for along in self.halves)

    @property
    def area(self) -> int:
        """Half cells that it covers."""
        return self.halves[0] * self.halves[1]

    def named(self, items: tuple[str, ...]) -> "Option":
        """Return the same for items of other names, in the same order."""
        renamed = dict(zip(self.items, items, strict=True))
        return replace(self, items=items, content=tuple(replace(lot, item=renamed[lot.item]) for lot in self.content))

    def things(self) -> tuple[PlacedThing, ...]:
        """Return each thing that does not lie loose."""
        return tuple(thing for lot in self.content if not isinstance(lot, Bulk) for thing in lot.things())

    def tray(self, at: tuple[float, float] | None = None) -> Tray:
        """Return the tray as the spec of one.

        Args:
            at: its front left cell.
        """
        ledge = self.label is not None and self.recess is None
        text = None if self.label is None else Text(text=self.label, face="ledge" if ledge else "front")
        return Tray(
            name=self._name(),
            cells=(self.halves[0] / 2.0, self.halves[1] / 2.0),
            height=self.height,
            at=at,
            rim=self.rim,
            wall=self.wall,
            floor=self.floor,
            dividers=tuple(
                Divider(axis=divider.axis, at=on_grid(divider.at), height=divider.height, span=divider.span)
                for divider in self.dividers
            ),
            finger_ramp=NO_RAMP if self.ramp is None else FingerRamp(radius=self.ramp),
            label_ledge=LEDGE if ledge or self.labels else None,
            labels=self.labels,
            pockets=tuple(self._pockets()),
            filling="solid" if self.engraved else None,
            text=text,
        )

    def _name(self) -> str:
        name = ", ".join(self.items)
        return name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 3]}..."

    def _pockets(self) -> Iterator[PocketSpec]:
        yield from self.pockets
        if self.recess is None or self.pockets:
            return
        notch = Notch() if self.notched else None
        for thing in self.things():
            pose = thing.pose
            x, y = on_grid(thing.at[0] - self.wall), on_grid(thing.at[1] - self.wall)
            common = {"depth": self.recess, "clearance": POCKET_CLEARANCE, "notch": notch}
            if pose.round_radius:
                middle = (on_grid(x + pose.round_radius), on_grid(y + pose.round_radius))
                yield CirclePocket(shape="circle", at=middle, diameter=pose.size[0], **common)
            elif pose.form == "prism" and pose.axis == "z":
                points = tuple((on_grid(x + along), on_grid(y + back)) for along, back in pose.outline)
                yield PolygonPocket(shape="polygon", points=points, **common)
            else:
                yield RectanglePocket(shape="rectangle", at=(x, y), size=pose.size[:2], **common)


@dataclass(frozen=True, slots=True)
class Filling:
    """What is in a tray."""

    content: tuple[Content, ...]
    dividers: tuple[DividerWall, ...] = ()
    recess: float | None = None
    notched: bool = False
    pockets: tuple[PolygonPocket, ...] = ()
    engraved: bool = False
    ramp: float | None = None


@dataclass(frozen=True, slots=True)
class Draft:
    """An option in its outer numbers; what is in it is worked out when it is wanted."""

    storages: tuple[Storage, ...]
    halves: tuple[int, int]
    height: float
    top: float
    rim: Rim
    plastic: float
    fill: Callable[["Draft"], Filling]
    recessed: bool = False

    @property
    def order(self) -> tuple[int, float, tuple[int, int], float, Rim, tuple[Storage, ...]]:
        """What drafts are put in order by: the smallest first, then what takes the least plastic."""
        return self.halves[0] * self.halves[1], self.plastic, self.halves, self.height, self.rim, self.storages

    def option(self, items: tuple[str, ...], label: str | None, ground: DrawerLimits) -> Option:
        """Return the option of these items."""
        filling = self.fill(self)
        return Option(
            items=items,
            storages=self.storages,
            halves=self.halves,
            height=self.height,
            top=self.top,
            rim=self.rim,
            plastic=self.plastic,
            wall=ground.wall,
            floor=ground.floor,
            content=filling.content,
            dividers=filling.dividers,
            recess=filling.recess,
            notched=filling.notched,
            pockets=filling.pockets,
            engraved=filling.engraved,
            ramp=filling.ramp,
            label=label,
        )


def sensible(drafts: Iterable[Draft], *, low: bool) -> list[Draft]:
    """Return the drafts that none of the others beats, smallest first, at most `MOST_OPTIONS`.

    A draft beats those of its rim that are no narrower and no less deep, and take no less plastic. With ``low`` it must
    not be higher, either: what is stacked shares the drawer's height.
    """
    kept: list[Draft] = []
    sizes: dict[Rim, list[tuple[float, int, int, float]]] = {"straight": [], "stacking": []}
    for candidate in sorted(drafts, key=lambda draft: draft.order):
        others, (wide, deep), plastic, top = (
            sizes[candidate.rim],
            candidate.halves,
            candidate.plastic,
            candidate.top if low else 0.0,
        )
        for its_plastic, its_wide, its_deep, its_top in others:
            if its_plastic <= plastic and its_wide <= wide and its_deep <= deep and its_top <= top:
                break
        else:
            others.append((plastic, wide, deep, top))
            kept.append(candidate)
    if len(kept) <= MOST_OPTIONS:
        return kept
    # Of many, those that take the least plastic: none beats another, so they still differ in their sides.
    return sorted(
        sorted(kept, key=lambda draft: (draft.plastic, draft.order))[:MOST_OPTIONS], key=lambda draft: draft.order
    )

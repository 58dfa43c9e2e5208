"""Ways: how a person would keep things of a kind, by their shape, their count and what was asked for."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal, TypeAlias

from worker.layout.storage.poses import Pose, poses, volume
from worker.spec.items.handling import AskedPose
from worker.spec.items.item import Item, Storage
from worker.spec.items.made_up_shape import STABLE
from worker.spec.items.shape import Box, Cylinder, PlainShape, Prism, Screw

__all__ = ["FLAT", "STABLE", "Kind", "Way", "natural_ways", "posed"]

#: A flat thing is no thicker than this share of its second side; from this second side on it may be filed.
FLAT: Final = 0.2
_FILED: Final = 18.0

#: Small things are no longer and no larger (mm3) than this, and so many of them are poured (own choice).
_SMALL: Final = 60.0
_SMALL_VOLUME: Final = 3500.0
_MANY: Final = 8

Way: TypeAlias = Literal["row", "file", "stand", "heap"]


@dataclass(frozen=True, slots=True)
class Kind:
    """What lanes depend on: a thing's shape, how many there are, and how they are to be kept.

    ``nest`` is what each further thing adds to a pile, in mm; ``fill`` the share of their room that soft things fill in
    a heap, whose shape is that of a pressed one. ``way`` is the only way that a series leaves open.
    """

    shape: PlainShape
    count: int
    storage: Storage | None = None
    pose: AskedPose | None = None
    nest: float | None = None
    fill: float | None = None
    way: Way | None = None

    @staticmethod
    def of(item: Item, count: int | None = None, way: Way | None = None) -> "Kind":
        """Return the kind of an item, of all its things or of so many."""
        shape, soft = item.plain, item.soft
        if soft is not None and soft.height is not None:
            if isinstance(shape, Box):
                shape = shape.model_copy(update={"size": (*shape.size[:2], soft.height)})
            elif isinstance(shape, Prism):
                shape = shape.model_copy(update={"height": soft.height})
        return Kind(
            shape,
            item.count if count is None else count,
            item.storage,
            item.pose,
            item.nesting_step,
            None if soft is None else soft.fill,
            way,
        )


@lru_cache(maxsize=4096)  # asked for by every length of a lane: a fifth of the time to size lanes
def natural_ways(kind: Kind) -> tuple[tuple[Way, Pose], ...]:
    """Return the ways and poses in which a person would keep such things, both turns of each.

    Things lie as low as they can or as they were given, stand only where they are stable or are asked to, and thin
    flat ones are filed where there are several. Small ones that are many are poured.
    """
    every = _natural(kind)
    return every if kind.way is None else tuple(pair for pair in every if pair[0] == kind.way)


def _natural(kind: Kind) -> tuple[tuple[Way, Pose], ...]:
    if kind.storage == "pocket":
        return ()
    if kind.storage != "loose" and kind.nest is not None:
        return _nested(kind)
    if kind.storage is not None or kind.pose is not None:
        return tuple(_given(kind))
    return tuple(_usual(kind) if kind.fill is None else _soft(kind))


def _given(kind: Kind) -> Iterator[tuple[Way, Pose]]:
    """Yield the ways that suit the storage and the pose that were asked for."""
    every = poses(kind.shape)
    lying = _lying(kind.shape, every)
    if kind.storage == "loose":
        yield "heap", lying[0]
        return
    for pose in every if kind.pose is None else posed(kind.shape, kind.pose):
        way = _way(pose, lying)
        upright = way != "row" and (kind.pose is not None or pose.size[2] > min(pose.size[:2]))
        if (kind.storage != "rows" and upright) or (kind.storage != "upright" and way == "row"):
            yield way, pose


def _usual(kind: Kind) -> Iterator[tuple[Way, Pose]]:
    """Yield the ways of firm things for which nothing was asked."""
    every = poses(kind.shape)
    lying = _lying(kind.shape, every)
    short, middle, long = sorted(every[0].size)
    if kind.count >= _MANY and long <= _SMALL and volume(kind.shape) <= _SMALL_VOLUME:
        yield "heap", lying[0]
        return
    yield from (("row", pose) for pose in lying)
    standing = [pose for pose in every if pose.size[2] > min(pose.size[:2]) and pose not in lying]
    flat = short <= FLAT * middle
    if flat and middle >= _FILED and kind.count > 1:
        yield from (("file", pose) for pose in standing if _leaf(pose) and pose.size[2] <= middle)
    if not flat:
        yield from (("stand", pose) for pose in standing if _stands(kind.shape, pose))


def posed(shape: PlainShape, choice: AskedPose) -> tuple[Pose, ...]:
    """Return the poses of a shape that the chosen pose allows, both turns of each.

    A cylinder as given lies; a disc lies flat.
    """
    every = poses(shape)
    lying = _lying(shape, every)
    _, middle, long = sorted(every[0].size)
    match choice:
        case "any":
            return every
        case "flat":
            return lying
        case "as_given":
            return tuple(pose for pose in every if pose.size[2] == shape.size[2]) if isinstance(shape, Box) else lying
        case "on_edge":
            return tuple(pose for pose in every if pose.size[2] == middle and max(pose.size[:2]) == long) or lying
        case "upright":
            return tuple(pose for pose in every if pose.size[2] == long)


def _lying(shape: PlainShape, every: tuple[Pose, ...]) -> tuple[Pose, ...]:
    """Return the poses in which a thing lies: a flat outline on its face, all else as low as can be."""
    if isinstance(shape, Prism):
        return tuple(pose for pose in every if pose.axis == "z")
    lowest = min(pose.size[2] for pose in every)
    return tuple(pose for pose in every if pose.size[2] <= lowest)


def _way(pose: Pose, lying: tuple[Pose, ...]) -> Way:
    if pose in lying:
        return "row"
    return "file" if _leaf(pose) else "stand"


def _nested(kind: Kind) -> tuple[tuple[Way, Pose], ...]:
    """Return the poses in which things that nest are kept: in piles, and round ones lying one in the other."""
    shape, every = kind.shape, poses(kind.shape)
    if isinstance(shape, Box):
        foot = sorted(shape.size[:2])
        piled = tuple(pose for pose in every if pose.size[2] == shape.size[2] and sorted(pose.size[:2]) == foot)
    else:
        piled = tuple(pose for pose in every if pose.axis == "z")
    sleeved = [pose for pose in every if isinstance(shape, Cylinder) and pose.axis == "y"]
    ways: list[tuple[Way, Pose]] = []
    if kind.pose not in {"flat", "on_edge"} or not sleeved:
        ways += [("stand", pose) for pose in piled]
    if kind.pose != "upright" and kind.storage != "upright" and kind.count > 1:
        ways += [("row", pose) for pose in sleeved]
    return tuple(ways)


def _soft(kind: Kind) -> Iterator[tuple[Way, Pose]]:
    """Yield the ways of soft things: piled, filed like leaves, or in a heap."""
    every = poses(kind.shape)
    lying = _lying(kind.shape, every)
    yield from (("row", pose) for pose in lying)
    if kind.count == 1:
        return
    if isinstance(kind.shape, Box):
        middle = sorted(kind.shape.size)[1]
        yield from (("file", pose) for pose in every if pose not in lying and pose.size[2] <= middle)
    yield "heap", lying[0]


def _leaf(pose: Pose) -> bool:
    return min(pose.size[:2]) <= FLAT * sorted(pose.size)[1]


def _stands(shape: PlainShape, pose: Pose) -> bool:
    """Return whether a thing stands so unasked: it is stable, and its base is not smaller than it has to be."""
    if pose.size[2] > STABLE * min(pose.size[:2]):
        return False
    if isinstance(shape, Cylinder | Screw):
        return pose.axis == "z"
    if isinstance(shape, Prism):
        return False
    return pose.size[2] == shape.size[2]  # as it was given

"""Ways: how a person would keep things of a kind, by their shape, their count and what was asked for."""

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from worker.layout.storage.poses import Pose, poses, volume
from worker.spec.items.item import Storage
from worker.spec.items.shape import Cylinder, PlainShape, Prism, Screw

__all__ = ["FLAT", "STABLE", "Kind", "Way", "natural_ways"]

#: A thing stands by itself when it is no higher than so many times its least width.
STABLE: Final = 3.0

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
    """What lanes depend on: a thing's shape, how many there are, and the storage that was asked for."""

    shape: PlainShape
    count: int
    storage: Storage | None = None


def natural_ways(kind: Kind) -> tuple[tuple[Way, Pose], ...]:
    """Return the ways and poses in which a person would keep such things, both turns of each.

    Things lie as low as they can or as they were given, stand only where they are stable or are asked to, and thin
    flat ones are filed where there are several. Small ones that are many are poured.
    """
    every = poses(kind.shape)
    lowest = min(pose.size[2] for pose in every)
    lying = [pose for pose in every if pose.size[2] <= lowest]
    if isinstance(kind.shape, Prism):
        lying = [pose for pose in every if pose.axis == "z"]
    standing = [pose for pose in every if pose.size[2] > min(pose.size[:2]) and pose not in lying]
    short, middle, long = sorted(every[0].size)
    flat = short <= FLAT * middle
    if kind.storage == "rows":
        return tuple(("row", pose) for pose in lying)
    if kind.storage == "loose":
        return (("heap", lying[0]),)
    if kind.storage == "pocket":
        return ()
    if kind.storage == "upright":
        return tuple(("file" if _leaf(pose) else "stand", pose) for pose in standing)
    if kind.count >= _MANY and long <= _SMALL and volume(kind.shape) <= _SMALL_VOLUME:
        return (("heap", lying[0]),)
    ways: list[tuple[Way, Pose]] = [("row", pose) for pose in lying]
    if flat and middle >= _FILED and kind.count > 1:
        ways += [("file", pose) for pose in standing if _leaf(pose) and pose.size[2] <= middle]
    if not flat:
        ways += [("stand", pose) for pose in standing if _stands(kind.shape, pose)]
    return tuple(ways)


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

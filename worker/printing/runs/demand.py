"""The demand: the pieces of a job to print, and how often the things in its trays are used."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeAlias

from worker.layout.model.plan import Plan
from worker.spec import Spec
from worker.spec.items.item import Access, access_rank
from worker.spec.manifest import PartKind

__all__ = ["AccessByTray", "DrawerContents", "Need", "PartSize", "access_of", "needs_of"]

#: How often the things in a tray are used: by its mark and the name of its drawer.
AccessByTray: TypeAlias = Mapping[tuple[str, str | None], Access]


class PartSize(Protocol):
    """A part of a plan, of its document or of a manifest."""

    @property
    def mark(self) -> str:
        """Its mark."""

    @property
    def kind(self) -> PartKind:
        """Its kind."""

    @property
    def size(self) -> tuple[float, float, float]:
        """Width, depth and height of its bounding box as printed, in mm."""


class _DrawerPart(Protocol):
    @property
    def mark(self) -> str: ...


class _DrawerItem(Protocol):
    @property
    def placement(self) -> int | None: ...
    @property
    def pointer(self) -> str: ...


class DrawerContents(Protocol):
    """A drawer of a plan, of its document or of a manifest."""

    @property
    def name(self) -> str:
        """Its name."""

    @property
    def copies(self) -> int:
        """The number of identical drawers."""

    @property
    def placements(self) -> Sequence[_DrawerPart]:
        """The parts in it."""

    @property
    def contents(self) -> Sequence[_DrawerItem]:
        """The items in its trays."""


@dataclass(frozen=True, slots=True)
class Need:
    """The demand for pieces of one mark: ``count`` of them for one copy of a drawer, or for none (``drawer`` None)."""

    mark: str
    drawer: str | None
    count: int = 1
    copy: int = 0


def needs_of(plan: Plan) -> tuple[Need, ...]:
    """Return the pieces of a plan to print: all of them, or with a previous layout only the new ones."""
    demand: Counter[tuple[str, str | None, int]] = Counter()
    if plan.changes is None:
        for drawer in plan.drawers:
            for place in drawer.placements:
                for copy in range(drawer.copies):
                    demand[place.mark, drawer.name, copy] += 1
        left = {part.mark: part.quantity for part in plan.parts}
    else:
        for piece in plan.changes.new:
            for name, count in piece.drawers:
                demand[piece.mark, name, 0] += count
        left = {piece.mark: piece.count for piece in plan.changes.new}
    for (mark, _, _), count in demand.items():
        left[mark] -= count
    # what belongs to no drawer: the coupon and its plug
    demand += Counter({(mark, None, 0): count for mark, count in left.items() if count > 0})
    return tuple(Need(mark, name, count, copy) for (mark, name, copy), count in demand.items())


def access_of(spec: Spec, drawers: Iterable[DrawerContents]) -> dict[tuple[str, str | None], Access]:
    """Return the access of each tray by its mark and drawer: that of its most used item."""
    items = dict(spec.every_item())
    by_tray: dict[tuple[str, str | None], Access] = {}
    for drawer in drawers:
        for item in drawer.contents:
            if item.placement is None:  # it lies in a lane
                continue
            key = drawer.placements[item.placement].mark, drawer.name
            access = items[item.pointer].access
            by_tray[key] = min(by_tray.get(key, access), access, key=access_rank)
    return by_tray

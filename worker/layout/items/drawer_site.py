"""The drawer site: what the placement of items needs of a drawer."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from worker.layout.floor.print_bed import Bed
from worker.layout.items.compartment_widths import Pool
from worker.layout.items.shared_tray import share
from worker.layout.placement.placement_problem import Bay
from worker.layout.placement.stacking import Anchor
from worker.layout.storage.sizing_rules import FRAME_AIR, DrawerLimits
from worker.layout.storage.tray_option import Option
from worker.layout.storage.tray_sizes import options
from worker.layout.tray.interior import on_grid
from worker.spec.items.item import Item

__all__ = ["Site"]


@dataclass(frozen=True)
class Site:
    """A drawer as far as items go: its name, its ground, which half cells are free, how many there are alike.

    ``height`` is the drawer's free height; the ground's is less where the printer is lower. ``bed`` is where trays are
    printed; without one, any size can be. ``anchors`` are trays that stay, none of them on half cells that are free.
    """

    name: str
    ground: DrawerLimits
    bay: Bay
    copies: int = 1
    height: float | None = None
    bed: Bed | None = None
    anchors: tuple[Anchor, ...] = ()

    @cached_property
    def open(self) -> Bay:
        """What is free, and what the anchors stand on: where they are asked for, too."""
        return self.bay.more((anchor.at, anchor.halves) for anchor in self.anchors)

    @property
    def limit(self) -> float:
        """The highest that a pile may reach, in mm over the drawer's bottom."""
        return self.ground.limit if self.height is None else on_grid(self.height - FRAME_AIR)

    def options(self, item: Item) -> tuple[Option, ...]:
        """Return every sensible tray for an item, smallest first."""
        return self._printable(options(item, self.ground))

    def share(self, items: Sequence[Item], floor: int | None = None) -> tuple[Option, ...]:
        """Return every sensible tray for these items together, smallest first, none over so many half cells."""
        return self._printable(share(items, self.ground, floor))

    def pool(self, items: Sequence[Item]) -> Pool:
        """Return items, one a kind, any of which may share a tray."""
        return Pool(items, self.ground)

    def prints(self, halves: tuple[int, int]) -> bool:
        """Return whether a tray of so many half cells has room on the bed."""
        if self.bed is None:
            return True
        ground = self.ground
        width, depth = (along * ground.pitch / 2.0 - 2.0 * ground.joint.body_inset for along in halves)
        return self.bed.holds(width, depth)

    def _printable(self, ways: Iterable[Option]) -> tuple[Option, ...]:
        return tuple(way for way in ways if self.prints(way.halves))

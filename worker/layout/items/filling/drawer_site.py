"""The drawer site: what the placement of items needs of a drawer."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import inf
from typing import Final

from worker.layout.floor.print_bed import Bed
from worker.layout.items.filling.earlier_layout import EarlierTray
from worker.layout.items.filling.filled_tray import can_be_cut
from worker.layout.items.filling.likeness import families, use_of
from worker.layout.items.filling.series import series_ways
from worker.layout.placement.bay import Anchor, Bay
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.cutting import Cutting
from worker.layout.placement.columns.objective import WEIGHTS
from worker.layout.placement.columns.tray_columns import Column, Footprint
from worker.layout.storage.sizing_rules import FRAME_AIR, DrawerLimits
from worker.layout.tray.interior import on_grid
from worker.layout.tray.joints.cut_sizes import Cut, CutSizes
from worker.layout.tray.made_tray import TrayMaker
from worker.spec.items.item import Item
from worker.spec.items.layout import LayoutPreferences

__all__ = ["Site"]


_PREFERENCES: Final = LayoutPreferences()


@dataclass(frozen=True)
class _Joins:
    """Whether the tray of a column can be cut; equal ones answer alike, so that patterns are found once for both."""

    maker: TrayMaker

    def __call__(self, stock: Assortment, column: Column) -> bool:
        return can_be_cut(self.maker, stock, column)


@dataclass(frozen=True)
class Site:
    """A drawer as far as items go: its name, its limits, which half cells are free, how many there are alike.

    ``height`` is the drawer's free height; the limits' is less where the printer is lower. ``bed`` is where trays are
    printed; without one, any size can be. ``joints`` says whether a larger tray may be cut. ``anchors`` are trays that
    stay, none of them on half cells that are free. ``empty`` is the drawer without any tray; None where nothing was in
    it before. ``earlier`` are the trays of an earlier plan, which stay where they can, and ``left_out`` the names of
    what it had no place for.
    """

    name: str
    ground: DrawerLimits
    bay: Bay
    copies: int = 1
    height: float | None = None
    bed: Bed | None = None
    joints: bool = False
    anchors: tuple[Anchor, ...] = ()
    layout: LayoutPreferences = _PREFERENCES
    empty: Bay | None = None
    earlier: tuple[EarlierTray, ...] = ()
    left_out: frozenset[str] = frozenset()

    @property
    def floor(self) -> Bay:
        """All its half cells, as if no tray stood there."""
        return self.bay if self.empty is None else self.empty

    @property
    def limit(self) -> float:
        """The highest that trays on trays may reach, in mm over the drawer's bottom."""
        return self.ground.limit if self.height is None else on_grid(self.height - FRAME_AIR)

    @cached_property
    def footprints(self) -> frozenset[Footprint]:
        """The sides in half cells that a tray may have: no longer than the grid, and printed whole or in pieces."""
        return frozenset(pair for pair in self._sizes if self.prints(pair)) | frozenset(self.cuts)

    @property
    def _sizes(self) -> Iterator[Footprint]:
        steps = [range(self.ground.step, side + 1, self.ground.step) for side in self.ground.span]
        return ((wide, deep) for wide in steps[0] for deep in steps[1])

    @cached_property
    def cuts(self) -> dict[Footprint, Cut]:
        """How trays that are larger than the bed are cut, by their sides in half cells."""
        maker = self._maker
        if maker is None:
            return {}
        beyond = ((pair, self._cut_sizes(maker).cut(pair)) for pair in self._sizes if not self.prints(pair))
        return {pair: cut for pair, cut in beyond if cut is not None}

    @property
    def least_joined_height(self) -> float:
        """The least height of a tray that is joined from pieces, in mm; endless where no tray is cut."""
        return inf if self._maker is None else self._cut_sizes(self._maker).least_height("straight")

    def _cut_sizes(self, maker: TrayMaker) -> CutSizes:
        ground = self.ground
        return CutSizes(maker.joint, maker.pitch, maker.line_width, ground.half_cells, ground.wall, maker.beds)

    @cached_property
    def _maker(self) -> TrayMaker | None:
        """What makes trays in pieces; None where no tray is cut."""
        if self.bed is None or not self.joints:
            return None
        ground = self.ground
        return TrayMaker(ground.joint, ground.pitch, ground.line_width, self.bed.rooms, "", joints=True)

    @cached_property
    def _cutting(self) -> Cutting | None:
        maker = self._maker
        return None if maker is None else Cutting(self.cuts, self._cut_sizes(maker), _Joins(maker))

    def assortment(self, items: Sequence[Item]) -> Assortment:
        """Return items with what is needed to size trays for them here."""
        return Assortment(
            tuple(items),
            families(items, self.layout.share),
            use_of,
            self.ground,
            WEIGHTS[self.layout.profile],
            self.footprints,
            ways=series_ways(items, self.ground),
            cutting=self._cutting,
        )

    def prints(self, halves: Footprint) -> bool:
        """Return whether a tray of so many half cells has room on the bed."""
        if self.bed is None:
            return True
        ground = self.ground
        width, depth = (along * ground.pitch / 2.0 - 2.0 * ground.joint.body_inset for along in halves)
        return self.bed.holds(width, depth)

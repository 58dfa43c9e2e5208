"""Cutting: which footprints of a drawer's trays are larger than the bed, and whether such a tray can be cut."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from worker.layout.placement.columns.tray_columns import Column, Footprint
from worker.layout.tray.joints.cut_sizes import Cut, CutSizes

if TYPE_CHECKING:
    from worker.layout.placement.columns.assortment import Assortment

__all__ = ["Cutting"]


@dataclass(frozen=True)
class Cutting:
    """The trays in pieces that a drawer may have.

    ``cuts`` says how each footprint that is larger than the bed is cut, ``sizes`` what that takes. ``joins`` returns
    whether the tray of a column, with its dividers and labels, can be cut as its footprint is.
    """

    cuts: Mapping[Footprint, Cut]
    sizes: CutSizes
    joins: "Callable[[Assortment, Column], bool]"

    def __hash__(self) -> int:
        """Return the hash of what the cuts follow from, with the footprints."""
        return hash((self.sizes, self.joins))

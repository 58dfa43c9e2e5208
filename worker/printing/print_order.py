"""The order of printing: the coupon, the floor, panels, then trays by how often the things in them are used.

The coupon shows which clearance every other part needs, and trays stand on the floor. The timetable keeps the order
where that costs no time; only the test prints precede all else. Whatever depends on this order
asks here: the work plan, the timetable, the remaining work, the batch packer, the summary and the map's legend.
"""

from collections.abc import Iterable, Mapping, Sequence
from enum import IntEnum
from typing import Final, Protocol

from worker.layout.model.part_registry import LETTERS
from worker.spec.items.item import Access, access_rank
from worker.spec.manifest import PartKind

__all__ = ["DEFAULT_ACCESS", "Stage", "is_test_print", "run_order", "stage_of_mark", "stage_of_run"]

#: The access of a tray that holds no listed things.
DEFAULT_ACCESS: Final[Access] = "sometimes"


class Stage(IntEnum):
    """The stages of printing, in their order."""

    TEST_PRINTS = 0
    FLOOR = 1
    PANELS = 2
    TRAYS = 3


_STAGES: Final[Mapping[PartKind, Stage]] = {
    "coupon": Stage.TEST_PRINTS,
    "plug": Stage.TEST_PRINTS,
    "tile": Stage.FLOOR,
    "key": Stage.FLOOR,
    "panel": Stage.PANELS,
    "shoe": Stage.PANELS,
    "clip": Stage.PANELS,
    "tray": Stage.TRAYS,
}
_STAGES_BY_LETTER: Final = {LETTERS[kind]: stage for kind, stage in _STAGES.items()}


class _MarkedPiece(Protocol):
    @property
    def mark(self) -> str: ...


class _PrintRun(Protocol):
    """A run of the run packer, of a manifest or of a batch."""

    @property
    def pieces(self) -> Sequence[_MarkedPiece]: ...


def is_test_print(kind: PartKind) -> bool:
    """Return whether parts of this kind are test prints: the coupon and its plug."""
    return _STAGES[kind] is Stage.TEST_PRINTS


def stage_of_mark(mark: str) -> Stage:
    """Return the stage in which a part is printed, by the letter of its mark.

    Raises:
        KeyError: when no kind of part has this letter.
    """
    return _STAGES_BY_LETTER[mark[0]]


def stage_of_run(run: _PrintRun) -> Stage:
    """Return the stage of a run: the earliest stage of its pieces.

    Raises:
        KeyError: when the mark of a piece begins with the letter of no kind.
    """
    return min(stage_of_mark(piece.mark) for piece in run.pieces)


def run_order(run: _PrintRun, kinds: Mapping[str, PartKind], accesses: Iterable[Access]) -> tuple[Stage, float, float]:
    """Return the sort key of a run; runs with equal keys keep the order in which they were packed.

    A run of plugs alone follows the coupon's. Runs of trays are sorted by their most used tray, then by the mean rank.

    Args:
        run: the run.
        kinds: by mark.
        accesses: one for each piece of the run.
    """
    stage = stage_of_run(run)
    if stage is Stage.TEST_PRINTS:
        return stage, float(all(kinds[piece.mark] == "plug" for piece in run.pieces)), 0.0
    if stage in {Stage.FLOOR, Stage.PANELS}:
        return stage, 0.0, 0.0
    ranks = [access_rank(access) for access in accesses]
    return stage, float(min(ranks)), sum(ranks) / len(ranks)

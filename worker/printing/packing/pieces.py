"""Pieces to print and their places in runs. Lengths are in mm, times in hours."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

#: Material, colour, layer height and line width, as text: the pieces of one run share them.
Group: TypeAlias = tuple[str, ...]
#: Degrees counter-clockwise, seen from above.
Turn: TypeAlias = Literal[0, 90]


@dataclass(frozen=True, slots=True)
class Piece:
    """The size of a part as printed, unturned, and how many of it one drawer needs.

    A part that two drawers need is two pieces with one mark. ``drawer`` is the drawer's index, ``None`` for the coupon
    and its plug. ``pointer`` is the JSON Pointer of the part's source in the spec, if it has one.
    """

    mark: str
    width: float
    depth: float
    height: float
    quantity: int = 1
    group: Group = ("", "")
    drawer: int | None = None
    pointer: str | None = None


@dataclass(frozen=True, slots=True)
class PlacedPiece:
    """One copy of a piece on the bed; ``x, y`` is the front left corner of its turned footprint, in bed coordinates."""

    mark: str
    x: float
    y: float
    turn: Turn
    drawer: int | None


@dataclass(frozen=True, slots=True)
class Run:
    """The pieces printed in one go on one bed; ``index`` counts from 1, ``hours`` is its print time, if estimated."""

    index: int
    group: Group
    pieces: tuple[PlacedPiece, ...]
    hours: float | None = None


@dataclass(frozen=True, slots=True)
class Runs:
    """All runs of a job, with a lower bound of their number.

    No packing has fewer runs than ``lower_bound``; the minimum may be higher. ``too_long`` are the marks whose print
    time alone exceeds the limit of a run: each copy of them has a run of its own, over the limit.
    """

    runs: tuple[Run, ...]
    lower_bound: int
    too_long: tuple[str, ...] = ()

"""Pieces: what is to be printed, and where each stands in which run. Millimetres and hours."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

#: Material, colour and layer: pieces of one run share them, so that nobody changes filament or profile within a run.
Group: TypeAlias = tuple[str, ...]
#: Degrees counter-clockwise, seen from above.
Turn: TypeAlias = Literal[0, 90]


@dataclass(frozen=True, slots=True)
class Piece:
    """A printed part's footprint as it stands unturned, ``quantity`` times for one drawer.

    A part that two drawers need is two pieces with one mark. ``drawer`` is the drawer's index, or ``None`` for what
    belongs to no drawer (the coupon). ``pointer`` says where in the spec it was asked for, if anywhere.
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
class Placed:
    """One copy of a piece on the bed: the front left corner of its footprint as turned, from the bed's own corner."""

    mark: str
    x: float
    y: float
    turn: Turn
    drawer: int | None


@dataclass(frozen=True, slots=True)
class Run:
    """What is printed in one go on one bed. ``index`` counts from 1; ``hours`` is the sum over its pieces, if known."""

    index: int
    group: Group
    pieces: tuple[Placed, ...]
    hours: float | None = None


@dataclass(frozen=True, slots=True)
class Runs:
    """All runs of a job, and how many there must be at least.

    ``lower_bound`` is proved: no packing has fewer runs; whether one has as few is another matter. ``too_long`` are the
    marks that take more hours than a run may: each copy of them has a run of its own, which is longer than wished.
    """

    runs: tuple[Run, ...]
    lower_bound: int
    too_long: tuple[str, ...] = ()

"""The exact packer: whether the pieces of one group fit so many runs, by the contents of single runs.

A constraint model chooses contents of runs (`worker.printing.packing.run_contents`) that make up all pieces, another
one places those of each run on its bed (`worker.printing.packing.bed_model`). Contents that do not fit are struck off
with all that hold more, and others are chosen, until all fit or none are left. All work is counted by the solver's
deterministic clock, so the same pieces give the same answer.

Source: patterns as in Gilmore and Gomory, "A linear programming approach to the cutting-stock problem", 1961; the split
is the logic-based Benders decomposition of Hooker and Ottosson, 2003; both from memory.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from worker.printing.packing.bed_model import BedGrid, BedPlace, place_on_bed
from worker.printing.packing.bed_surface import Size, Surface
from worker.printing.packing.run_contents import Content, PieceKind, run_contents

__all__ = ["ExactPacking", "PackedPiece", "Place", "pack_into"]

#: Deterministic time of one question, after which no more beds are begun: at most 0.8 s.
_LIMIT: Final = 0.25


class PackedPiece(NamedTuple):
    """A piece: its grown footprint in units, its hours, and the hours of setup that a run with it needs."""

    size: Size
    hours: float
    setup: float


class Place(NamedTuple):
    """Where a piece is: the index of its run, its front left corner in units, and whether it is turned."""

    run: int
    x: int
    y: int
    turned: bool


@dataclass(frozen=True, slots=True)
class ExactPacking:
    """The answer: a place for each piece, or none; and whether it is proven that so few runs do not hold the pieces."""

    places: tuple[Place, ...]
    impossible: bool


def pack_into(pieces: Sequence[PackedPiece], surface: Surface, limit: float | None, runs: int) -> ExactPacking:
    """Return places for all pieces in so many runs, or that there are none, or neither within the limit of work.

    Args:
        pieces: each fits the bed, and alone takes no more hours than the limit.
        surface: the bed.
        limit: the hours that a run may take with its setup, or ``None``.
        runs: the number of runs, at least 1.
    """
    by_kind: dict[PieceKind, list[int]] = defaultdict(list)
    for index, piece in enumerate(pieces):
        by_kind[PieceKind((max(piece.size), min(piece.size)), piece.hours, piece.setup)].append(index)
    kinds = sorted(by_kind, key=lambda kind: (-kind.size[0] * kind.size[1], kind))
    counts = tuple(len(by_kind[kind]) for kind in kinds)
    grid = BedGrid.of([piece.size for piece in pieces], surface)
    unknown = ExactPacking((), impossible=False)
    contents = run_contents(kinds, counts, grid, limit, runs)
    if contents is None:
        return unknown
    placed: dict[Content, tuple[BedPlace, ...]] = {}
    left, proven = _LIMIT, grid.is_exact
    while left > 0.0:
        chosen, spent = _chosen(contents, counts, runs, placed, left)
        left -= spent
        if chosen is None:
            return unknown
        if not chosen:
            return ExactPacking((), impossible=proven)
        for content in sorted(chosen.keys() - placed.keys(), reverse=True):
            sizes = [kind.size for kind, count in zip(kinds, content, strict=True) for _ in range(count)]
            answer = place_on_bed(sizes, grid)
            left -= answer.work
            if answer.places:
                placed[content] = answer.places
            else:
                # what holds more does not fit, either
                proven &= answer.impossible
                contents = [other for other in contents if other != content and not _holds(other, content)]
            if left <= 0.0:
                return unknown
        if chosen.keys() <= placed.keys():
            return ExactPacking(tuple(_places(pieces, by_kind, kinds, chosen, placed)), impossible=False)
    return unknown


def _holds(content: Content, other: Content) -> bool:
    return all(count >= least for count, least in zip(content, other, strict=True))


def _chosen(
    contents: Sequence[Content], counts: Content, runs: int, placed: Mapping[Content, object], work: float
) -> tuple[dict[Content, int] | None, float]:
    """Return contents of all runs and how many have each, most of them placed before, and the work of the choice.

    They are empty if there are none, and None if that is not known within the limit.
    """
    from ortools.sat.python import cp_model  # noqa: PLC0415 - a third of a second, for those who need it only

    model = cp_model.CpModel()
    numbers = [model.new_int_var(0, runs, "") for _ in contents]
    model.add(sum(numbers) == runs)
    for kind, count in enumerate(counts):
        model.add(sum(content[kind] * number for content, number in zip(contents, numbers, strict=True)) == count)
    model.maximize(sum(number for content, number in zip(contents, numbers, strict=True) if content in placed))
    solver = cp_model.CpSolver()
    parameters = solver.parameters
    parameters.num_workers = 1
    parameters.random_seed = 1
    parameters.max_deterministic_time = work
    status = solver.solve(model)
    spent = solver.response_proto.deterministic_time
    if status == cp_model.INFEASIBLE:
        return {}, spent
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, spent
    values = ((content, solver.value(number)) for content, number in zip(contents, numbers, strict=True))
    return {content: value for content, value in values if value}, spent


def _places(
    pieces: Sequence[PackedPiece],
    by_kind: Mapping[PieceKind, Sequence[int]],
    kinds: Sequence[PieceKind],
    chosen: Mapping[Content, int],
    placed: Mapping[Content, Sequence[BedPlace]],
) -> Iterator[Place]:
    """Yield the place of each piece, in their order."""
    left = {kind: iter(by_kind[kind]) for kind in kinds}
    places: dict[int, Place] = {}
    run = 0
    for content in sorted(chosen, reverse=True):
        for _ in range(chosen[content]):
            of_copies = [kind for kind, count in zip(kinds, content, strict=True) for _ in range(count)]
            for kind, place in zip(of_copies, placed[content], strict=True):
                index = next(left[kind])
                # a kind has its longer side first, a piece as it is given
                turned = place.turned != (pieces[index].size != kind.size)
                places[index] = Place(run, place.x, place.y, turned)
            run += 1
    yield from (places[index] for index in range(len(pieces)))

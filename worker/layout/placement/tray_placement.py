"""Tray placement: the half cells that each listed tray of a drawer stands on."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from worker.layout.model.plan import Lattice
from worker.layout.placement.bay import Spot, half_cells
from worker.spec.drawer.drawer import Drawer
from worker.spec.drawer.tray import Tray
from worker.spec.errors import TrayError
from worker.spec.tolerances import LENGTH_EPSILON

_Mask: TypeAlias = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PlacedTray:
    """One tray on the grid: its index in the drawer's list, its front left half cell, whether it has half feet.

    ``z`` is the height of its feet above the drawer's bottom in mm, more than 0 for a tray on others.
    """

    tray: int
    at: Spot
    half_feet: bool
    z: float = 0.0


class Footing:
    """What a tray would stand on at a place of a grid."""

    def __init__(self, lattice: Lattice) -> None:
        """Use this grid."""
        self._board = _Board(lattice)

    def half_feet(self, at: Spot, halves: Spot) -> bool | None:
        """Return whether a tray there has half feet; None where there is not a cell under all of it."""
        return self._board.half_feet(at, halves)


def place_trays(
    drawer: Drawer,
    lattice: Lattice,
    *,
    pointer: str,
    pins: Mapping[int, Sequence[Spot]] | None = None,
    taken: Iterable[tuple[Spot, Spot]] = (),
) -> tuple[PlacedTray, ...]:
    """Return where each tray of the floor stands, in the order of the list, each as often as its quantity says.

    Trays on others are left out.

    Trays with a place keep it. The others go, largest first, to the front left most place that is free; several orders
    are tried until all have room. A tray of whole cells stands on whole cells, and on half feet at a half cell only
    where the grid has halves and nothing else is free.

    Args:
        drawer: the drawer with its trays.
        lattice: the grid in the drawer.
        pointer: JSON Pointer of the drawer.
        pins: places, by a tray's index, that trays without a place of their own have while all others have room.
        taken: front left half cell and size of what stands there already; only trays with a place overrule it.

    Raises:
        TrayError: when a tray is taller than the drawer, off the grid, on cells that are not there, on another tray, or
            finds no room.
    """
    for index, tray in enumerate(drawer.trays):
        if tray.height > drawer.height + LENGTH_EPSILON:
            raise TrayError(
                f"Tray {tray.name!r} is taller than drawer {drawer.name!r}.",
                pointer=f"{pointer}/trays/{index}/height", value=tray.height, limit=f"at most {drawer.height:g} mm",
                remedy="Make the tray lower.",
            )  # fmt: skip
    board = _Board(lattice)
    fixed: list[PlacedTray] = []
    for index, tray in enumerate(drawer.trays):
        if tray.at is not None and not tray.raised:
            fixed.append(_fixed(board, drawer.trays, index, fixed, f"{pointer}/trays/{index}"))
    for at, size in taken:
        board.take(at, size)
    halves = board.has_halves or any(tray.on_halves for tray in drawer.trays)
    wished = [(index, at) for index, places in (pins or {}).items() for at in places]
    while True:
        arranged = _arranged(board, drawer.trays, wished, halves=halves)
        if not isinstance(arranged, _NoRoom):
            return tuple(sorted((*fixed, *arranged), key=lambda placed: placed.tray))
        if not wished:
            raise _refused(drawer, board, arranged, pointer)
        # fewer stay in their places, and those that move make room for all
        wished = wished[: len(wished) // 2]


def check_clear(drawer: Drawer, placed: Sequence[PlacedTray], shut: Sequence[tuple[Spot, Spot]], pointer: str) -> None:
    """Check that no tray stands where a panel or a lane is.

    Raises:
        TrayError: if one with a place of its own does.
    """
    spots = {spot for spot, _ in shut}
    for place in placed:
        tray, (wide, deep) = drawer.trays[place.tray], tray_halves(drawer.trays[place.tray])
        under = ((place.at[0] + x, place.at[1] + y) for y in range(deep) for x in range(wide))
        met = next((spot for spot in under if spot in spots), None)
        if met is not None:
            raise TrayError(
                f"Tray {tray.name!r} stands where a panel or a lane is.",
                pointer=f"{pointer}/trays/{place.tray}/at", value=tray.at,
                limit=f"cells clear of panels, their shoes and lanes; {met[0] / 2.0:g}, {met[1] / 2.0:g} is not",
                remedy="Move the tray or the panel, or let the tray have no place of its own.",
            )  # fmt: skip


def _arranged(
    board: "_Board", trays: Sequence[Tray], wished: Sequence[tuple[int, Spot]], *, halves: bool
) -> "list[PlacedTray] | _NoRoom":
    """Return all trays without a place of their own, some where it is wished, or the first that finds no room."""
    pinned = list(_pinned(board, trays, wished))
    kept = board.copy()
    for pin in pinned:
        kept.take(pin.at, tray_halves(trays[pin.tray]))
    left = Counter({index: tray.quantity for index, tray in enumerate(trays) if tray.at is None and not tray.raised})
    left.subtract(pin.tray for pin in pinned)
    failed: _NoRoom | None = None
    for order in _ORDERS:
        todo = sorted(left.elements(), key=_by(trays, order))
        try:
            return [*pinned, *_packed(kept.copy(), trays, todo, halves=halves)]
        except _NoRoom as no_room:
            failed = failed or no_room
    assert failed is not None  # noqa: S101 - the loop returns or fails at least once
    return failed


def _pinned(board: "_Board", trays: Sequence[Tray], wished: Sequence[tuple[int, Spot]]) -> Iterator[PlacedTray]:
    """Yield the trays that can have the places wished for them, no two on one."""
    board = board.copy()
    for index, at in wished:
        size = tray_halves(trays[index])
        half_feet = board.half_feet(at, size)
        if half_feet is not None and board.is_free(at, size):
            board.take(at, size)
            yield PlacedTray(index, at, half_feet)


def tray_halves(tray: Tray) -> Spot:
    """Return a tray's size in half cells."""
    return half_cells(tray.cells)


class _NoRoom(Exception):
    """A tray found no room."""

    def __init__(self, tray: int, placed: int) -> None:
        self.tray = tray
        self.placed = placed


class _Board:
    """The half cells of a drawer: where there are sockets, which of them are whole, and what is taken."""

    def __init__(self, lattice: Lattice) -> None:
        across, back = lattice.span
        shape = (back, across)
        self.there: _Mask = np.zeros(shape, dtype=np.bool_)
        self.whole: _Mask = np.zeros(shape, dtype=np.bool_)
        self.taken: _Mask = np.zeros(shape, dtype=np.bool_)
        for cell in lattice.cells:
            under = (slice(cell.y, cell.y + cell.depth), slice(cell.x, cell.x + cell.width))
            self.there[under] = True
            self.whole[under] = cell.width == cell.depth == 2  # noqa: PLR2004 - half cells in a cell
        self.has_halves = bool((self.there & ~self.whole).any())

    def copy(self) -> "_Board":
        """Return a board to try on."""
        other = object.__new__(_Board)
        other.there, other.whole, other.taken = self.there, self.whole, self.taken.copy()
        other.has_halves = self.has_halves
        return other

    def take(self, at: Spot, halves: Spot) -> None:
        """Take the half cells under a tray."""
        self.taken[at[1] : at[1] + halves[1], at[0] : at[0] + halves[0]] = True

    def on_whole(self, at: Spot, halves: Spot) -> bool:
        """Return whether a tray stands on whole sockets only, with nothing of it on a half."""
        under = self.whole[at[1] : at[1] + halves[1], at[0] : at[0] + halves[0]]
        return not any(along % 2 for along in (*at, *halves)) and bool(under.all())

    def half_feet(self, at: Spot, halves: Spot) -> bool | None:
        """Return whether a tray there has half feet; None where there is not a socket under all of it."""
        under = self.there[at[1] : at[1] + halves[1], at[0] : at[0] + halves[0]]
        whole = under.shape == (halves[1], halves[0]) and min(at) >= 0
        return not self.on_whole(at, halves) if whole and under.all() else None

    def is_free(self, at: Spot, halves: Spot) -> bool:
        """Return whether nothing stands there."""
        return not self.taken[at[1] : at[1] + halves[1], at[0] : at[0] + halves[0]].any()

    def first(self, halves: Spot, *, step: int) -> Spot | None:
        """Return the best free place: breaking the fewest whole cells, then front most, then left most.

        Args:
            halves: the tray's size.
            step: 2 for whole cells only, 1 for every half cell.
        """
        width, depth = halves
        back, across = self.there.shape
        if width > across or depth > back:
            return None
        blocked = ~(self.whole if step == 2 else self.there) | self.taken  # noqa: PLR2004 - half cells in a cell
        free = _windows(blocked, halves)[::step, ::step] == 0
        if not free.any():
            return None
        if step == 1:
            broken = _windows(self._fresh(), halves)
            free &= broken == broken[free].min()
        y, x = np.argwhere(free)[0]
        return int(x) * step, int(y) * step

    def _fresh(self) -> _Mask:
        """Return the half cells of whole sockets that nothing stands in yet."""
        touched = np.zeros_like(self.taken)
        ys, xs = np.nonzero(self.taken)
        for dy, dx in ((0, 0), (0, 1), (1, 0), (1, 1)):
            y, x = ys // 2 * 2 + dy, xs // 2 * 2 + dx
            inside = (y < touched.shape[0]) & (x < touched.shape[1])
            touched[y[inside], x[inside]] = True
        return self.whole & ~touched


def _windows(mask: _Mask, halves: Spot) -> NDArray[np.int64]:
    """Return how many half cells of the mask lie under a tray at each place (a summed-area table)."""
    width, depth = halves
    sums = np.zeros((mask.shape[0] + 1, mask.shape[1] + 1), dtype=np.int64)
    sums[1:, 1:] = mask.cumsum(axis=0, dtype=np.int64).cumsum(axis=1)
    under: NDArray[np.int64] = (
        sums[depth:, width:] - sums[:-depth, width:] - sums[depth:, :-width] + sums[:-depth, :-width]
    )
    return under


def _fixed(board: _Board, trays: Sequence[Tray], index: int, others: Sequence[PlacedTray], pointer: str) -> PlacedTray:
    """Return a tray at the place that it asks for."""
    tray = trays[index]
    x, y = half_cells(tray.at or (0.0, 0.0))
    halves = tray_halves(tray)
    back, across = board.there.shape
    for axis, (start, size, most) in enumerate(zip((x, y), halves, (across, back), strict=True)):
        if start + size > most:
            raise TrayError(
                f"Tray {tray.name!r} stands off the grid.",
                pointer=f"{pointer}/at/{axis}", value=start / 2.0,
                limit=f"at most {(most - size) / 2.0:g}, for {size / 2.0:g} of {most / 2.0:g} cells"
                if size <= most else f"a tray of at most {most / 2.0:g} cells",
                remedy="Move the tray, or take a smaller one.",
            )  # fmt: skip
    under = board.there[y : y + halves[1], x : x + halves[0]]
    if not under.all():
        row, column = np.argwhere(~under)[0]
        raise TrayError(
            f"Tray {tray.name!r} stands where the grid has no cell.",
            pointer=f"{pointer}/at", value=tray.at,
            limit=f"cells under all of it; there is none at {(x + int(column)) / 2.0:g}, {(y + int(row)) / 2.0:g}",
            remedy="Move the tray, or let the grid have half cells.",
        )  # fmt: skip
    for earlier in others:
        other = trays[earlier.tray]
        if _overlap((x, y), halves, earlier.at, tray_halves(other)):
            raise TrayError(
                f"Tray {tray.name!r} overlaps tray {other.name!r}.",
                pointer=f"{pointer}/at", value=tray.at,
                limit=f"clear of trays/{earlier.tray}, {other.cells[0]:g} x {other.cells[1]:g} cells from "
                f"{earlier.at[0] / 2.0:g}, {earlier.at[1] / 2.0:g}",
                remedy="Move one of them.",
            )  # fmt: skip
    board.take((x, y), halves)
    return PlacedTray(index, (x, y), not board.on_whole((x, y), halves))


def _overlap(spot: Spot, size: Spot, other: Spot, other_size: Spot) -> bool:
    return all(spot[axis] < other[axis] + other_size[axis] and other[axis] < spot[axis] + size[axis] for axis in (0, 1))


def _packed(board: _Board, trays: Sequence[Tray], order: Sequence[int], *, halves: bool) -> Iterator[PlacedTray]:
    """Yield a place for each tray of the order, on whole cells first where it can stand on them.

    Raises:
        _NoRoom: when one finds none.
    """
    for count, index in enumerate(order):
        size = tray_halves(trays[index])
        at = None if any(along % 2 for along in size) else board.first(size, step=2)
        if at is None and halves:
            at = board.first(size, step=1)
        if at is None:
            raise _NoRoom(index, order[:count].count(index))
        board.take(at, size)
        yield PlacedTray(index, at, not board.on_whole(at, size))


def _refused(drawer: Drawer, board: _Board, failed: _NoRoom, pointer: str) -> TrayError:
    tray = drawer.trays[failed.tray]
    free = int((board.there & ~board.taken).sum())
    which = "" if tray.quantity == 1 else f" {failed.placed + 1} of {tray.quantity}"
    return TrayError(
        f"Tray {tray.name!r}{which} finds no room in drawer {drawer.name!r}.",
        pointer=f"{pointer}/trays/{failed.tray}", value=list(tray.cells),
        limit=f"{free / 4.0:g} cells for all trays without a place",
        remedy="Take fewer or smaller trays, or give them places with `at`.",
    )  # fmt: skip


_Size: TypeAlias = Callable[[int, int], tuple[int, ...]]

#: Orders that are tried: by area, by the longer side, by depth, by width; the largest first.
_ORDERS: Final[tuple[_Size, ...]] = (
    lambda width, depth: (width * depth, max(width, depth)),
    lambda width, depth: (max(width, depth), width * depth),
    lambda width, depth: (depth, width),
    lambda width, depth: (width, depth),
)


def _by(trays: Sequence[Tray], order: _Size) -> Callable[[int], tuple[int, ...]]:
    """Return a sort key: the largest first, equal ones as listed."""
    return lambda index: (*(-along for along in order(*tray_halves(trays[index]))), index)

"""The floor builder: cuts a floor into tiles that fit the bed, with border, windows and seams."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np
import shapely
from shapely.affinity import translate
from shapely.geometry import Polygon

from worker.layout.floor.border import Area, least_width, plate_of
from worker.layout.floor.left_out import left_out
from worker.layout.floor.nodes import TabRoom
from worker.layout.floor.plate_graph import Board, Seam
from worker.layout.floor.print_bed import Bed
from worker.layout.floor.seams import KEY_DROP, corner_arc, fit_tab, narrowest
from worker.layout.floor.tab import Lobe, Tab
from worker.layout.floor.tab_places import TabPlace
from worker.layout.floor.tab_strength import pull
from worker.layout.floor.tile_area import TileAreas
from worker.layout.floor.tile_drawing import DrawnTile, TileDrawing, placed
from worker.layout.floor.tile_figure import Turn
from worker.layout.floor.tile_groups import groups_of
from worker.layout.floor.tile_mark import mark_lettering
from worker.layout.floor.tile_split import Partition, partition
from worker.layout.model.plan import NO_FLOOR, FloorPlan, Lattice, PlanWarning, SeamHold, SeamPair
from worker.layout.model.shapes import KeyShape, Point, TileShape
from worker.spec.drawer.joint import Joint
from worker.spec.errors import LayoutError
from worker.spec.printer.printer import Printer
from worker.spec.tolerances import COORDINATE_GRID, LENGTH_EPSILON, LINES_IN_A_WALL

if TYPE_CHECKING:
    from worker.layout.floor.patches import Key

__all__ = ["Floor", "KeyPiece", "TilePiece", "mark_lettering", "tile_floor"]

SeamStyle: TypeAlias = Literal["dovetail", "key", "plain"]


@dataclass(frozen=True, slots=True)
class TilePiece:
    """Shape of a tile and its position: rotated by ``turn`` degrees, then its minimum corner moved to ``at`` (mm)."""

    shape: TileShape
    at: Point
    turn: Turn


@dataclass(frozen=True, slots=True)
class KeyPiece:
    """Shape of a loose key and its position, as those of a tile."""

    shape: KeyShape
    at: Point
    turn: Turn


@dataclass(frozen=True, slots=True)
class Floor:
    """All tiles and loose keys of a drawer; in ``plan``, tiles are indices into ``pieces``."""

    pieces: tuple[TilePiece, ...]
    seams: tuple[SeamPair, ...] = ()
    keys: tuple[KeyPiece, ...] = ()
    warnings: tuple[PlanWarning, ...] = ()
    plan: FloorPlan = NO_FLOOR


@lru_cache(maxsize=64)  # a plan after a change of things has the floor of the one before: 0.1 of 0.4 s for 60 things
def tile_floor(
    usable: Area, lattice: Lattice, *, joint: Joint, seam: SeamStyle, seam_gap: float, printer: Printer
) -> Floor:
    """Return the floor of a drawer, cut into tiles.

    The cut has the fewest pieces that fit the bed, then the fewest groups of tiles that nothing holds together, then
    the fewest different shapes, then the most staggered seams.

    Args:
        usable: usable area in the drawer's frame, mm.
        lattice: the cells.
        joint: joint of floor and trays.
        seam: how tiles join.
        seam_gap: gap between two tiles, mm.
        printer: bed, margin, forbidden rectangles and line width.

    Raises:
        LayoutError: if a single cell does not fit the bed, or the gap leaves a wall that is too thin.
    """
    if not lattice.cells:
        return Floor(())
    return _Tiling(usable, lattice, joint, seam, seam_gap, printer).floor()


@dataclass
class _Pieces:
    """The pieces of a floor so far, and for each tile of the split the indices of its pieces."""

    pieces: list[TilePiece] = field(default_factory=list)
    outlines: list[Polygon] = field(default_factory=list)
    of_tile: list[list[int]] = field(default_factory=list)


class _Tiling:
    def __init__(  # noqa: PLR0917 - one caller, same names
        self, usable: Area, lattice: Lattice, joint: Joint, style: SeamStyle, gap: float, printer: Printer
    ) -> None:
        self.lattice, self.joint, self.style, self.printer, self.gap = lattice, joint, style, printer, gap
        self.half, wall = lattice.pitch / 2.0, LINES_IN_A_WALL * printer.line_width
        self.tab: Tab | None = None if style == "plain" else fit_tab(joint, gap, loose=style == "key")
        x, y = lattice.origin
        moved, least = translate(usable, -x, -y), least_width(printer.line_width)
        plate = plate_of(moved, lattice.cells, self.half, least, gap)
        room = None
        if self.tab is not None:
            inset, (_, arc) = narrowest(joint), corner_arc(joint)
            room = TabRoom(plate, lattice.cells, lattice.pitch, inset, arc, self.tab, wall)
        seam = Seam(gap, style == "key", 0.0 if self.tab is None else self.tab.reach)
        self.board = Board(plate, lattice.cells, lattice.pitch, Bed.of_printer(printer), seam, room)
        self.areas = TileAreas(self.board, lattice.cells, moved, least, gap)
        self.drawing = TileDrawing(self.areas, lattice.pitch, joint, self.tab, printer.line_width)
        self._drawn: dict[Key, list[DrawnTile]] = {}

    def floor(self) -> Floor:
        """Return the floor."""
        cut = partition(self.board, self.areas)
        if cut is None:
            raise self._too_small()
        made = self._pieces(cut)
        pairs = [(a, b) for i, j in cut.pairs for a in made.of_tile[i] for b in made.of_tile[j]]
        seams = self._seams(pairs, made.outlines)
        plan = self._plan(cut, made, seams)
        return Floor(tuple(made.pieces), seams, tuple(self._keys(cut.places)), tuple(self._warnings(cut)), plan)

    def _plan(self, cut: Partition, made: _Pieces, seams: Sequence[SeamPair]) -> FloorPlan:
        """Return how the floor holds together, and what it leaves out."""
        count, near = len(made.pieces), {(seam.first, seam.second) for seam in seams}
        locked = [(a, b) for i, j in sorted(cut.locked) for a in made.of_tile[i] for b in made.of_tile[j]]
        groups = groups_of(count, (pair for pair in locked if pair in near))
        loose: list[int] = []
        for floor in groups_of(count, near):
            own = sorted((group for group in groups if group[0] in floor), key=lambda group: -len(group))
            loose += [tile for group in own[1:] for tile in group]
        hold = None
        if self.tab is not None and cut.places:
            height = self.joint.height - (KEY_DROP if self.style == "key" else 0.0)
            force = round(pull(self.tab, height), 1) if self.tab.square else None
            hold = SeamHold(len(cut.places), round(self.tab.undercut, 3), round(self.tab.play, 3), force)
        lost = [self.board.shape(patch) for patch in range(len(self.board.patches)) if patch not in cut.tile_of]
        rest = left_out(
            self.areas.usable, [*made.outlines, *self._key_outlines(cut.places)], lost,
            least=self.areas.least, gap=self.gap, origin=self.lattice.origin,
        )  # fmt: skip
        return FloorPlan(groups, tuple(sorted(loose)), hold, rest)

    def _pieces(self, cut: Partition) -> _Pieces:
        made = _Pieces()
        for tile in cut.tiles:
            corner = self.areas.corner(tile.patches)
            key = self.board.keys.key(tile)
            if key not in self._drawn:
                self._drawn[key] = self.drawing.draw(tile, corner)
            made.of_tile.append([len(made.pieces) + step for step in range(len(self._drawn[key]))])
            for drawn in self._drawn[key]:
                x, y = (round(self.lattice.origin[a] + corner[a] + drawn.at[a], 6) for a in (0, 1))
                made.pieces.append(TilePiece(drawn.shape, (x, y), drawn.turn))
                made.outlines.append(translate(drawn.outline, *corner))
        return made

    def _seams(self, pairs: list[tuple[int, int]], outlines: list[Polygon]) -> tuple[SeamPair, ...]:
        """Return the pairs of tiles that meet; a tile may have lost the border at which it would have met another."""
        if not pairs:
            return ()
        self._check_wall()
        first, second = (np.array([outlines[pair[end]] for pair in pairs], dtype=object) for end in (0, 1))
        meet = shapely.distance(first, second) <= self.gap + COORDINATE_GRID
        return tuple(SeamPair(a, b, self.gap) for (a, b), near in zip(pairs, meet, strict=True) if near)

    def _key_outlines(self, places: Iterable[TabPlace]) -> Iterator[Polygon]:
        """Yield both halves of each loose key, in mm from the lattice's origin."""
        for place in places:
            if self.tab is None or not place.loose:
                continue
            (low, high), at = place.lobes, (place.x * self.half, place.y * self.half)
            turn = 0 if place.along_y else 90
            yield placed(self.tab.male(low, high), at, turn)
            yield placed(self.tab.male(high, low), at, turn + 180)

    def _keys(self, places: Iterable[TabPlace]) -> Iterator[KeyPiece]:
        """Yield the loose keys; a key with one plain side is always the same way round, and turned to its place."""
        keys = []
        for place in places:
            if self.tab is None or not place.loose:
                continue
            low, high = place.lobes
            swapped = _ORDER[low] < _ORDER[high]
            if swapped:
                low, high = high, low
            shape = self.tab.key(round(self.joint.height - KEY_DROP, 6), low, high)
            turn: Turn = (0, 90, 180, 270)[(not place.along_y) + 2 * swapped]
            at = (self.lattice.origin[0] + place.x * self.half, self.lattice.origin[1] + place.y * self.half)
            middle = (self.tab.reach, -min(y for _, y in self.tab.male(low, high)))
            centred = tuple((x - middle[0], y - middle[1]) for x, y in shape.outline)
            left, front, _, _ = placed(centred, at, turn).bounds
            keys.append(KeyPiece(shape, (round(left, 6), round(front, 6)), turn))
        yield from sorted(keys, key=lambda key: (key.at, key.turn))

    def _warnings(self, cut: Partition) -> list[PlanWarning]:
        warnings = []
        if self.style != "plain" and self.tab is None and len(cut.tiles) > 1:
            warnings.append(
                PlanWarning(
                    "/grid/seam",
                    f"No {self.style} fits between the sockets with walls of two lines, so the seams are plain.",
                )
            )
        if any(patch not in cut.tile_of for patch in range(len(self.board.patches))):
            warnings.append(
                PlanWarning("/printer/bed", "Some of the border is left out, as its tile would not fit the bed.")
            )
        return warnings

    def _check_wall(self) -> None:
        wall = LINES_IN_A_WALL * self.printer.line_width
        most = 2.0 * (narrowest(self.joint) - wall)
        if self.gap > most + LENGTH_EPSILON:
            raise LayoutError(
                "The gap between tiles leaves a wall thinner than two lines beside the sockets.",
                pointer="/grid/seam_gap", value=self.gap, limit=f"at most {most:.3f} mm",
                remedy="Use a smaller gap, or a joint with a wider land.",
            )  # fmt: skip

    def _too_small(self) -> LayoutError:
        pitch = self.lattice.pitch
        return LayoutError(
            "No cell fits on the printer's bed.",
            pointer="/printer/bed",
            value=[self.printer.bed[0], self.printer.bed[1]],
            limit=f"a free square of {pitch:g} x {pitch:g} mm inside the margin of {self.printer.margin:g} mm",
            remedy="Use a smaller pitch or margin, or a printer with a larger bed.",
        )


#: Order of the sides of a key: its wider side comes first.
_ORDER: dict[Lobe, int] = {"head": 2, "plain": 1, "flush": 0}

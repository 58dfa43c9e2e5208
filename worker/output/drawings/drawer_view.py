"""A view of a drawer on a map, from above and to scale: its floor, or its trays with their contents."""

from collections.abc import Sequence
from math import ceil, floor
from typing import Final, Literal, TypeAlias

from shapely import get_coordinates, get_parts, intersection, length, union_all
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from worker.layout.model.shapes import PieceShape, Point, TrayShape
from worker.layout.tray.grip_lips import grip_outline
from worker.output.drawings.dimensions import FOOT, HEAD, SIDE, dimensions
from worker.output.drawings.font import LINE, fitted, text_width, wrapped
from worker.output.drawings.mapped_drawer import MappedDrawer, MappedPart, rounded
from worker.output.drawings.sheet import LEAST, Colour, Frame, Path, Sheet, TextLine, block

__all__ = ["FOOT", "HEAD", "SIDE", "View", "draw_view"]

#: The floor, or the layer of trays of this number: 0 for those on the floor.
View: TypeAlias = Literal["floor"] | int

#: Type sizes in a tray, tried from the largest, in units; a mark is larger by the factor.
_SIZES: Final = (3.2, 2.8, 2.4, 2.1, LEAST)
_MARK: Final = 1.35
_TILE_MARKS: Final = (7.0, 5.5, 4.5, 3.5, 2.8, 2.2, LEAST)
#: A frame is narrow when its depth exceeds its width by this factor.
_NARROW: Final = 1.8
#: Padding between a tray's edges and its text, in units.
_PAD: Final = 0.9
#: End of a shortened line.
_CUT: Final = "\u2026"
#: The fewest characters of a shortened line.
_TELLING: Final = 5
#: Distance of hatching lines along x, in units.
_HATCH: Final = 1.4
#: Greys.
_FLOOR, _PLATE, _LINES, _INSIDE, _FREE, _OBSTACLE, _STRIP = 0.94, 0.88, 0.72, 0.82, 0.55, 0.6, 0.3
_QUARTER: Final = 90
_TWO: Final = 2
#: Type size of the marks of strips, in units.
_PANEL_MARK: Final = 2.4


def draw_view(sheet: Sheet, mapped: MappedDrawer, frame: tuple[float, float, float], view: View, *,
              scale: float, unit: float) -> None:  # fmt: skip
    """Draw a view with its heading and its dimensions.

    Args:
        sheet: the sheet to draw on.
        mapped: the drawer.
        frame: left, top and width available on the sheet, mm; the height taken is the drawer's to scale, `HEAD` and
            `FOOT`.
        view: the floor, or the number of a layer of trays.
        scale: mm of the drawer for a mm of the sheet.
        unit: scale of all text: mm on the sheet for a nominal mm.
    """
    _Figure(sheet, mapped, frame, scale=scale, unit=unit).draw(view)


class _Figure:
    """The drawing of one view, placed on a sheet."""

    def __init__(
        self, sheet: Sheet, mapped: MappedDrawer, frame: tuple[float, float, float], *, scale: float, unit: float
    ) -> None:
        self.sheet, self.mapped, self.frame, self.scale, self.unit = sheet, mapped, frame, scale, unit
        wide, deep = mapped.extent
        self.left = frame[0] + (frame[2] - wide / scale) / 2.0
        self.top = frame[1] + HEAD * unit
        self.base = self.top + deep / scale

    def draw(self, view: View) -> None:
        self._heading(view)
        shade = 0.8 if view == "floor" else _FLOOR
        self._ring(self.mapped.drawer.outline[0], fill=shade, width=0.0, stroke=None)
        if view == "floor":
            self._floor()
        elif view:
            self._panels(marked=False)  # upper trays reach over them
            self._trays(view)
        else:
            self._trays(view)
            self._lanes()
        if view in {"floor", 0}:
            self._panels(marked=view == 0)
        for index, ring in enumerate(self.mapped.drawer.outline):
            self._ring(ring, fill=_OBSTACLE if index else None, width=0.6 * self.unit)
        self.sheet.shapes += dimensions(
            self.mapped, (self.left, self.top, self.scale, self.unit), (self.frame[0], self.frame[2])
        )

    def _heading(self, view: View) -> None:
        unit, drawer = self.unit, self.mapped.drawer
        x, y, room = self.frame[0] + 2 * unit, self.frame[1], self.frame[2] - 4 * unit
        if view == "floor":
            shown = "floor"
        elif view:
            shown = "upper trays" if len(self.mapped.layers) == _TWO else f"upper trays, layer {view + 1}"
        else:
            shown = "trays" if self.mapped.cells else "panels"
        self.sheet.write(f"{drawer.name}: {shown}", (x, y, room), 4.2 * unit, bold=True, least=3.0 * unit)
        wide, deep, high = drawer.size
        copies = f", {drawer.copies} drawers alike" if drawer.copies > 1 else ""
        usable = "usable {:g} x {:g}".format(*(round(length, 1) for length in self.mapped.extent))
        subtitle = (
            f"{wide:g} wide, {deep:g} deep, {high:g} mm high inside, {usable}{copies}; from above, 1:{self.scale:g}"
        )
        self.sheet.write(subtitle, (x, y + 5.1 * unit, room), 2.5 * unit, least=LEAST * unit)

    def _at(self, x: float, y: float) -> Point:
        return self.left + x / self.scale, self.base - y / self.scale

    def _ring(self, ring: list[Point] | tuple[Point, ...], *, fill: Colour | None = None, width: float,
              stroke: float | None = 0.0, dash: tuple[float, ...] = ()) -> None:  # fmt: skip
        points = tuple(self._at(*point) for point in ring)
        self.sheet.shapes.append(Path(points, closed=True, fill=fill, stroke=stroke, width=width, dash=dash))

    def _frame(self, left: float, front: float, right: float, back: float) -> Frame:
        """Return a rectangle in the drawer's frame, mm, as a frame of the sheet."""
        x, y = self._at(left, back)
        return x, y, (right - left) / self.scale, (back - front) / self.scale

    def _cells(self, fill: float | None) -> None:
        for cell in self.mapped.cells:
            self._ring(rounded(*cell, 0.0), fill=fill, stroke=_LINES, width=0.12 * self.unit)

    def _floor(self) -> None:
        unit = self.unit
        tiles = [part for part in self.mapped.floor if part.part.kind != "key"]
        for tile in tiles:
            self._ring(tile.outline, fill=_PLATE, stroke=None, width=0.0)
            for hole in tile.holes:
                self._ring(hole, fill=1.0, stroke=_LINES, width=0.1 * unit)
        self._cells(1.0)
        for tile in tiles:
            self._ring(tile.outline, width=0.35 * unit)
        for key in self.mapped.floor:
            if key.part.kind == "key":
                self._ring(key.outline, fill=0.25, width=0.1 * unit)
        for part in self.mapped.drawer.floor.left_out:
            self._hatch(part.rings)
        for tile in tiles:
            self._tile_mark(tile)

    def _hatch(self, rings: tuple[tuple[Point, ...], ...]) -> None:
        """Hatch an area of the drawer with lines at 45 degrees."""
        outer, *holes = ([self._at(*point) for point in ring] for ring in rings)
        area = Polygon(outer, holes).buffer(0.0)
        left, top, right, low = area.bounds
        deep, pitch = low - top, _HATCH * self.unit
        # lines of all areas lie on one grid
        starts = [pitch * step for step in range(floor((left - deep - top) / pitch), ceil((right - top) / pitch) + 1)]
        lines = [LineString([(start + top, top), (start + top + deep, low)]) for start in starts]
        parts = get_parts(intersection(area, lines))
        parts = parts[length(parts) > 0.0]  # points have no length
        for left, top, right, low in get_coordinates(parts).reshape(-1, 4).tolist():
            self.sheet.line((left, top), (right, low), width=0.15 * self.unit)
        for ring in (outer, *holes):
            self.sheet.shapes.append(Path(tuple(ring), closed=True, width=0.15 * self.unit))

    def _tile_mark(self, tile: MappedPart) -> None:
        """Write a tile's mark in the largest size that fits, as near to the tile's middle as possible."""
        holes = [Polygon([self._at(*point) for point in hole]) for hole in self.mapped.drawer.outline[1:]]
        area = Polygon([self._at(*point) for point in tile.outline]).buffer(0.0).difference(union_all(holes))
        cx, cy = (area.bounds[0] + area.bounds[2]) / 2.0, (area.bounds[1] + area.bounds[3]) / 2.0
        middles = [self._at((x + u) / 2.0, (y + v) / 2.0) for x, y, u, v in self.mapped.cells]
        inner = area.representative_point()
        spots = [
            (cx, cy),
            *sorted(middles, key=lambda at: (at[0] - cx) ** 2 + (at[1] - cy) ** 2)[:12],
            (inner.x, inner.y),
        ]
        for size in _TILE_MARKS:
            half = (text_width(tile.place.mark, size * self.unit, bold=True) / 2.0, LINE * size * self.unit / 2.0)
            for x, y in spots:
                if area.contains(box(x - half[0], y - half[1], x + half[0], y + half[1])):
                    frame = (x - half[0], y - half[1], 2 * half[0], 2 * half[1])
                    self._note(block([(tile.place.mark, size * self.unit, True)], frame, align="middle", turned=False))
                    return

    def _note(self, texts: list[TextLine]) -> None:
        """Write lines of text on a white background that hides the drawing behind them."""
        for text in texts:
            x, y, right, low = text.box
            self.sheet.rect(x, y, right - x, low - y, fill=1.0, stroke=None)
        self.sheet.shapes += texts

    def _trays(self, layer: int) -> None:
        unit = self.unit
        self._cells(None)
        for tray in (tray for stacks in self.mapped.layers[:layer] for stack in stacks for tray in stack):
            self._ring(tray.outline, fill=_PLATE, stroke=_FREE, width=0.2 * unit)
        for space, caption in () if layer else self.mapped.spaces:
            self._ring(rounded(*space, 0.0), stroke=_FREE, width=0.2 * unit, dash=(unit, unit))
            lines = _within([caption], self._frame(*space), unit, mark=None)
            self.sheet.shapes += lines or _within(["free"], self._frame(*space), unit, mark=None)
        for stack in self.mapped.layers[layer] if self.mapped.layers else ():
            for tray in stack:
                self._tray(tray)
            self._words(stack)

    def _lanes(self) -> None:
        """Draw the lanes with their names and contents, and the room that things take, dashed."""
        unit = self.unit
        for stored in self.mapped.drawer.contents:
            if stored.lane is not None:
                (x, y, _), (wide, deep, _) = stored.at, stored.size
                ring = rounded(x, y, x + wide, y + deep, 0.0)
                self._ring(ring, fill=1.0, stroke=_INSIDE, width=0.2 * unit, dash=(unit, unit))
        for index, lane in enumerate(self.mapped.drawer.lanes):
            (x, y), (wide, deep) = lane.at, lane.size
            frame = self._frame(x, y, x + wide, y + deep)
            pad = 4.0 * unit
            inner = (frame[0] + pad, frame[1] + pad, frame[2] - 2.0 * pad, frame[3] - 2.0 * pad)
            words = self.mapped.lane_captions(index)
            self.sheet.shapes += _within(words, inner, unit, mark=lane.name) or _within([], frame, unit, mark=lane.name)

    def _panels(self, *, marked: bool) -> None:
        """Draw panels from above: clips and shoes in outline, strips filled, and their marks."""
        for part in sorted(self.mapped.panels, key=lambda part: part.part.kind == "panel"):
            fill = _STRIP if part.part.kind == "panel" else 1.0
            self._ring(part.outline, fill=fill, width=0.2 * self.unit)
        for part in self.mapped.panels if marked else ():
            left, front, right, back = part.bounds
            x, y = self._at((left + right) / 2.0, (front + back) / 2.0)
            size = (_PANEL_MARK if part.part.kind == "panel" else LEAST) * self.unit
            turned = part.part.kind == "panel" and back - front > right - left
            along, high = text_width(part.place.mark, size, bold=True), LINE * size
            wide, deep = (high, along) if turned else (along, high)
            if part.part.kind == "clip":
                # beside the strip that stands on it
                aside = right - left > back - front
                gap = 2.0 * self.unit
                x, y = (x, y + high / 2.0 + gap) if aside else (x + along / 2.0 + gap, y)
            elif part.part.kind == "shoe":
                x, y = self._before_shoe(part, wide, deep)
            frame = (x - wide / 2.0, y - deep / 2.0, wide, deep)
            self._note(block([(part.place.mark, size, True)], frame, align="middle", turned=turned))

    def _before_shoe(self, shoe: MappedPart, wide: float, deep: float) -> Point:
        """Return the middle of a shoe's mark on the sheet: on its panel, before the shoe's cheeks."""
        left, front, right, back = shoe.bounds
        x, y = self._at((left + right) / 2.0, (front + back) / 2.0)
        away_x, away_y = ((1.0, 0.0), (0.0, -1.0), (-1.0, 0.0), (0.0, 1.0))[shoe.place.turn // _QUARTER]
        gap = self.unit
        return (
            x + away_x * ((right - left) / self.scale / 2.0 + wide / 2.0 + gap),
            y + away_y * ((back - front) / self.scale / 2.0 + deep / 2.0 + gap),
        )

    def _tray(self, tray: MappedPart) -> None:
        unit, shape = self.unit, tray.part.shape
        if tray.on is not None:
            self._upper(tray)
            return
        tint = self.mapped.tints.get(self.mapped.group_of(tray) or "")
        self._ring(tray.outline, fill=1.0 if tint is None else tint, width=0.4 * unit)
        if isinstance(shape, PieceShape):
            self._inside_piece(tray, shape)
            return
        if not isinstance(shape, TrayShape):
            return
        wide, deep, _ = tray.part.size
        wall = shape.wall
        if shape.ledge is not None:
            ledge = rounded(wall, deep - wall - shape.ledge.depth, wide - wall, deep - wall, 0.0)
            self._ring(tray.put(ledge), fill=0.9, stroke=None, width=0.0)
        for grip in shape.grips:
            lip = grip_outline(grip, (wide, deep), wall)
            self._ring(tray.put(lip), fill=0.9, stroke=_INSIDE, width=0.1 * unit)
        for pocket in shape.pockets:
            for outline in (pocket.outline, *pocket.neighbours):
                self._ring(tray.put(outline), fill=None, stroke=_INSIDE, width=0.2 * unit)
        for inner in shape.walls:
            low, high = inner.at - inner.thickness / 2.0, inner.at + inner.thickness / 2.0
            start, end = inner.span or (wall, (deep if inner.axis == "x" else wide) - wall)
            across = (low, start, high, end) if inner.axis == "x" else (start, low, end, high)
            self._ring(tray.put(rounded(*across, 0.0)), fill=_INSIDE, stroke=None, width=0.0)
        if tray.place.turn:
            tip = min(4.0 * self.scale * unit, wide / 3.0, deep / 3.0)
            self._ring(tray.put([(wide / 2.0, 0.0), (wide / 2.0 + tip / 2.0, tip), (wide / 2.0 - tip / 2.0, tip)]),
                       fill=0.5, stroke=None, width=0.0)  # fmt: skip

    def _inside_piece(self, tray: MappedPart, shape: PieceShape) -> None:
        """Draw the pockets and dividers of a piece of a jointed tray, and its seams as thick dashed lines."""
        whole, (x, y) = shape.tray, shape.corner
        piece = tray.box

        def put(ring: Sequence[Point]) -> BaseGeometry:
            return piece.intersection(Polygon(tray.put([(u - x, v - y) for u, v in ring])).buffer(0.0))

        sides = [halves * whole.pitch / 2.0 - 2.0 * whole.inset for halves in whole.halves]
        for pocket in whole.pockets:
            for outline in (pocket.outline, *pocket.neighbours):
                self._areas(put(outline), fill=None, stroke=_INSIDE, width=0.2 * self.unit)
        for inner in whole.walls:
            low, high = inner.at - inner.thickness / 2.0, inner.at + inner.thickness / 2.0
            start, end = inner.span or (whole.wall, sides[1 if inner.axis == "x" else 0] - whole.wall)
            across = (low, start, high, end) if inner.axis == "x" else (start, low, end, high)
            self._areas(put(rounded(*across, 0.0)), fill=_INSIDE, stroke=None, width=0.0)
        left, front, right, back = piece.bounds
        for line, ends in ((shape.left, ((left, front), (left, back))), (shape.front, ((left, front), (right, front)))):
            if line is not None:
                seam = tuple(self._at(*end) for end in ends)
                self.sheet.shapes.append(Path(seam, closed=False, width=1.0 * self.unit, dash=(0.6, 0.6)))

    def _areas(self, area: BaseGeometry, *, fill: float | None, stroke: float | None, width: float) -> None:
        for part in get_parts(area):
            if isinstance(part, Polygon) and not part.is_empty:
                self._ring([(x, y) for x, y in part.exterior.coords][:-1], fill=fill, stroke=stroke, width=width)

    def _upper(self, tray: MappedPart) -> None:
        """Draw a tray that stands on another: a dashed, slightly smaller outline with a hatched back right corner."""
        level, below = 0, tray.on
        while below is not None:
            level, below = level + 1, below.on
        x, y, right, low = tray.bounds
        step = min(0.8 * self.unit * self.scale * level, (right - x) / 5.0, (low - y) / 5.0)
        self._ring(rounded(x + step, y + step, right - step, low - step, 0.0), width=0.25 * self.unit,
                   dash=(1.2 * self.unit, 0.8 * self.unit))  # fmt: skip
        reach = min(5.0 * self.unit * self.scale, (right - x) / 3.0, (low - y) / 3.0)
        for part in (0.4, 0.6, 0.8, 1.0):
            ends = (self._at(right - part * reach, low), self._at(right, low - part * reach))
            self.sheet.line(*ends, width=0.2 * self.unit)

    def _words(self, stack: tuple[MappedPart, ...]) -> None:
        """Write the marks and captions of a stack into its lowest tray, those of the highest tray first."""
        shape = stack[0].part.shape
        shape = shape.tray if isinstance(shape, PieceShape) else shape
        inside = isinstance(shape, TrayShape) and bool(shape.walls or shape.pockets or shape.ledge)
        x, y, wide, deep = self._frame(*stack[0].bounds)
        pad = min(_PAD * self.unit * len(stack), wide / 12.0, deep / 12.0)
        row_depth = (deep - 2 * pad) / len(stack)
        frames = [(x + pad, y + pad + level * row_depth, wide - 2 * pad, row_depth) for level in range(len(stack))]
        written = [
            _within(self.mapped.captions(tray), frame, self.unit, mark=tray.place.mark)
            for tray, frame in zip(reversed(stack), frames, strict=True)
        ]
        if not all(written):
            marks = "+".join(tray.place.mark for tray in stack)
            written = [_within([], (x + pad, y + pad, wide - 2 * pad, deep - 2 * pad), self.unit, mark=marks)]
        for texts in written:
            if inside or len(stack) > 1:
                self._note(texts)
            else:
                self.sheet.shapes += texts


def _within(words: list[str], frame: Frame, unit: float, *, mark: str | None) -> list[TextLine]:
    """Return a mark and captions in a frame, in the largest type that fits, turned if that helps.

    When they do not fit in any size, the text is cut off with an ellipsis; nothing is returned when the mark alone does
    not fit.
    """
    for size in _SIZES:
        ways = []
        for turned in (False, True):
            lines = _lines(words, size * unit, frame[3 if turned else 2], mark)
            high = sum(LINE * line[1] for line in lines or ())
            if lines is not None and high <= frame[2 if turned else 3]:
                ways.append((len(lines), turned, lines))
        if ways:
            # upright unless turned text needs fewer lines in a frame that is narrow
            _, turned, lines = min(ways) if frame[3] > _NARROW * frame[2] else ways[0]
            return block(lines, frame, align="middle", turned=turned)
    return [] if mark is None else _shortened(mark, words, frame, unit)


def _shortened(mark: str, words: list[str], frame: Frame, unit: float) -> list[TextLine]:
    """Return a mark and below it, in the smallest type, as many captions as fit; nothing when the mark does not fit."""
    least = LEAST * unit
    for most in (len(words), 0):
        for size in (*(_MARK * step * unit for step in _SIZES), least):
            for turned in (False, True):
                along, across = (frame[3], frame[2]) if turned else (frame[2], frame[3])
                room = int((across - LINE * size) / (LINE * least) + 1e-9)
                if text_width(mark, size, bold=True) > along or across < LINE * size or room < min(most, 1):
                    continue
                rest = [line for word in words[:most] for line in wrapped(word, along, least)]
                if len(rest) > room > 0:
                    last = rest[room - 1].removesuffix(_CUT) + _CUT
                    rest = [*rest[: room - 1], fitted(last, along, least, least=least)[0]]
                # a shorter rest of a word is not recognisable
                if any(len(line) < _TELLING for line in rest if line.endswith(_CUT) or not line):
                    continue
                lines = [(mark, size, True), *((line, least, False) for line in rest[:room])]
                return block(lines, frame, align="middle", turned=turned)
    return []


def _lines(words: list[str], size: float, room: float, mark: str | None) -> list[tuple[str, float, bool]] | None:
    """Return lines ``(text, size, bold)`` with all captions in full, or None when a word is too wide."""
    lines = [] if mark is None else [(mark, _MARK * size, True)]
    if mark is not None and text_width(mark, _MARK * size, bold=True) > room:
        return None
    for word in words:
        for line in wrapped(word, room, size):
            if line.endswith(_CUT) or not line:
                return None
            lines.append((line, size, False))
    return lines

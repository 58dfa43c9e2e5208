"""The map of one drawer: its floor and its trays to scale, what lies where, and how to put it together."""

from typing import Final

from shapely.geometry import MultiPolygon, Polygon, box

from worker.output.legend import legend
from worker.output.sheet import LINE, Path, Sheet, to_pdf, to_svg
from worker.spec.manifest import DrawerEntry, Manifest, PlacementEntry

__all__ = ["SCALES", "map_pages", "map_picture", "write_map_pdf", "write_map_svg"]

#: Reductions of ISO 5455 (from memory); a drawer of 3 m needs 1:20.
SCALES: Final = (1, 2, 5, 10, 20, 50)

#: A4, with what is drawn kept where Letter has paper too: 190 x 259 mm.
_PAPER: Final = (210.0, 297.0)
_ROOM: Final = (190.0, 259.0)
_MARGIN: Final = 10.0
#: Around a figure, in units: left and right, head, foot.
_SIDE: Final = 14.0
_HEAD: Final = 22.0
_FOOT: Final = 30.0
#: Width of a picture's sheet, in mm, at which a unit of its text is one mm.
_UNIT: Final = 500.0


def write_map_svg(manifest: Manifest, drawer: DrawerEntry) -> bytes:
    """Return the map as one SVG at full size: floor and trays side by side, legend and steps below."""
    return to_svg(map_picture(manifest, drawer))


def write_map_pdf(manifest: Manifest, drawer: DrawerEntry) -> bytes:
    """Return the map as pages of a PDF: floor, trays, legend. A4; what is drawn fits on Letter too at 100 %."""
    return to_pdf(map_pages(manifest, drawer))


def map_picture(manifest: Manifest, drawer: DrawerEntry) -> Sheet:
    """Return the map as one sheet at full size."""
    wide, deep, _ = drawer.size
    unit = max(2.0 * wide / _UNIT, deep / _UNIT, 1.0)
    side = max(wide, 90.0 * unit) + 2.0 * _SIDE * unit
    top = deep + (_HEAD + _FOOT) * unit
    sheet = Sheet(2.0 * side, top, f"Map of {drawer.name}", _told(drawer))
    _Figure(sheet, manifest, drawer, (0.0, 0.0, side), scale=1, unit=unit).draw(trays=False)
    _Figure(sheet, manifest, drawer, (side, 0.0, side), scale=1, unit=unit).draw(trays=True)
    for page in legend(manifest, drawer, 2.0 * (side - _SIDE * unit), None, unit):
        sheet.shapes += page.moved(_SIDE * unit, sheet.height)
        sheet.height += page.height + 10.0 * unit
    return sheet


def map_pages(manifest: Manifest, drawer: DrawerEntry) -> list[Sheet]:
    """Return the map as pages at the largest scale that fits them, upright or on their side."""
    wide, deep, _ = drawer.size
    fits = [
        (scale, turned)
        for scale in SCALES
        for turned in (False, True)
        if wide / scale + 2 * _SIDE <= _ROOM[turned] and deep / scale + _HEAD + _FOOT <= _ROOM[not turned]
    ]
    scale, turned = fits[0]
    paper = _PAPER[::-1] if turned else _PAPER
    sheets = []
    for trays in (False, True):
        sheet = Sheet(*paper, f"Map of {drawer.name}", _told(drawer))
        frame = ((paper[0] - _ROOM[turned]) / 2.0, _MARGIN, _ROOM[turned])
        _Figure(sheet, manifest, drawer, frame, scale=scale, unit=1.0).draw(trays=trays)
        sheets.append(sheet)
    for page in legend(manifest, drawer, _ROOM[0], _ROOM[1], 1.0):
        sheet = Sheet(*_PAPER, f"Map of {drawer.name}", _told(drawer))
        sheet.shapes += page.moved(_MARGIN, _MARGIN)
        sheets.append(sheet)
    return sheets


def _told(drawer: DrawerEntry) -> str:
    wide, deep, high = drawer.size
    return (
        f"Drawer {wide:g} mm wide, {deep:g} mm deep and {high:g} mm high, seen from above, its front at the bottom: "
        f"first the floor, then the trays. {len(drawer.placements)} pieces."
    )


class _Figure:
    """One view of the drawer, in a frame ``(left, top, width)`` of a sheet."""

    def __init__(
        self, sheet: Sheet, manifest: Manifest, drawer: DrawerEntry, frame: tuple[float, float, float],
        *, scale: int, unit: float,
    ) -> None:  # fmt: skip
        self.sheet, self.drawer, self.scale, self.unit = sheet, drawer, scale, unit
        self.parts = {part.mark: part for part in manifest.parts}
        self.frame = frame
        self.left = frame[0] + (frame[2] - drawer.size[0] / scale) / 2.0
        self.top = frame[1] + _HEAD * unit
        self.base = self.top + drawer.size[1] / scale
        outer, *holes = drawer.outline
        self.area = Polygon(outer, holes).buffer(0.0)

    def draw(self, *, trays: bool) -> None:
        """Draw the view with its heading, its dimensions and its scale."""
        unit, sheet = self.unit, self.sheet
        x, y, room = self.frame[0] + 4 * unit, self.frame[1], self.frame[2] - 8 * unit
        sheet.write(f"{self.drawer.name}: {'trays' if trays else 'floor'}", (x, y, room), 5 * unit, bold=True,
                    least=3.5 * unit)  # fmt: skip
        copies = f", {self.drawer.copies} drawers alike" if self.drawer.copies > 1 else ""
        sheet.write(f"Scale 1:{self.scale}, seen from above{copies}", (x, y + 7 * unit, room), 3 * unit,
                    least=2 * unit)  # fmt: skip
        for index, ring in enumerate(self.drawer.outline):
            fill, width = (0.75, 0.3 * unit) if index else (1.0, 0.6 * unit)
            points = tuple(self._at(*point) for point in ring)
            sheet.shapes.append(Path(points, closed=True, fill=fill, width=width))
        kinds = {"tray", "plug"} if trays else {"tile", "key", "coupon"}
        chosen = [(i, one) for i, one in enumerate(self.drawer.placements) if self.parts[one.mark].kind in kinds]
        if trays:
            self._spaces()
            self._trays(chosen)
        else:
            self._floor([one for _, one in chosen])
        self._dimensions()

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return self.left + x / self.scale, self.base - y / self.scale

    def _box(self, one: PlacementEntry) -> tuple[float, float, float, float]:
        """Return a piece's box in the drawer's frame: x, y, width, depth."""
        wide, deep, _ = self.parts[one.mark].size
        return (*one.at[:2], *((deep, wide) if one.turn in {90, 270} else (wide, deep)))

    def _floor(self, floor: list[PlacementEntry]) -> None:
        unit, (wide, deep, _) = self.unit, self.drawer.size
        (x0, y0), pitch = self.drawer.origin, self.drawer.pitch
        tiles = [one for one in floor if self.parts[one.mark].kind != "key"]
        keys = [one for one in floor if self.parts[one.mark].kind == "key"]
        for axis, start, end in ((0, x0, wide), (1, y0, deep)):
            for step in range(int((end - start) / pitch + 1e-6) + 1):
                along = start + step * pitch
                ends = ((along, 0.0), (along, deep)) if axis == 0 else ((0.0, along), (wide, along))
                self.sheet.line(*(self._at(*end) for end in ends), width=0.1 * unit, stroke=0.65)
        for one in tiles:
            x, y, w, d = self._box(one)
            shape = box(x, y, x + w, y + d).intersection(self.area)
            for piece in shape.geoms if isinstance(shape, MultiPolygon) else (shape,):
                if isinstance(piece, Polygon) and not piece.is_empty:
                    ring = tuple(self._at(*point) for point in piece.exterior.coords[:-1])
                    self.sheet.shapes.append(Path(ring, closed=True, width=0.4 * unit))
            self._mark(one, (x, y, w, d), 8 * unit)
        for one in keys:
            x, y, w, d = self._box(one)
            self.sheet.rect(*self._at(x, y + d), w / self.scale, d / self.scale, fill=0.4, width=0.15 * unit)

    def _mark(self, one: PlacementEntry, place: tuple[float, float, float, float], most: float) -> None:
        x, y, w, d = place
        size = min(most, 0.5 * d / self.scale)
        left, top = self._at(x, y + d / 2.0)
        pad = 0.05 * w / self.scale
        self.sheet.write(one.mark, (left + pad, top - LINE * size / 2.0, w / self.scale - 2 * pad), size, bold=True,
                         align="middle", least=0.01)  # fmt: skip

    def _spaces(self) -> None:
        (x0, y0), pitch = self.drawer.origin, self.drawer.pitch
        for space in self.drawer.spaces:
            x, y = x0 + space.at[0] * pitch, y0 + space.at[1] * pitch
            w, d = (cells * pitch for cells in space.cells)
            self.sheet.rect(*self._at(x, y + d), w / self.scale, d / self.scale, stroke=0.5, width=0.15 * self.unit,
                            dash=(self.unit, self.unit))  # fmt: skip
            left, top = self._at(x, y + d / 2.0)
            size = min(3 * self.unit, 0.4 * d / self.scale)
            self.sheet.write("free", (left + 0.5, top - LINE * size / 2, w / self.scale - 1.0), size, align="middle",
                             least=0.5 * size)  # fmt: skip

    def _trays(self, trays: list[tuple[int, PlacementEntry]]) -> None:
        """Draw trays from below upwards; the words of a pile stand in its lowest tray, the highest first."""
        piles: list[list[tuple[int, PlacementEntry]]] = []
        for index, one in sorted(trays, key=lambda entry: (entry[1].at[2], entry[0])):
            shape = self._shape(one)
            below = [(shape.intersection(self._shape(pile[0][1])).area, pile) for pile in piles]
            area, pile = max(below, key=lambda entry: entry[0], default=(0.0, []))
            if area > 1.0:
                pile.append((index, one))
            else:
                piles.append([(index, one)])
            x, y, w, d = self._box(one)
            # one that stands on another is drawn a little smaller and dashed, so that both outlines are seen
            inset = len(pile) * 0.7 * self.unit if area > 1.0 else 0.0
            left, top = self._at(x, y + d)
            inset = min(inset, 0.2 * w / self.scale, 0.2 * d / self.scale)
            self.sheet.rect(left + inset, top + inset, w / self.scale - 2 * inset, d / self.scale - 2 * inset,
                            fill=None if inset else 0.93, width=0.4 * self.unit,
                            dash=(1.5 * self.unit, self.unit) if inset else ())  # fmt: skip
        for pile in piles:
            self._words(pile)

    def _shape(self, one: PlacementEntry) -> Polygon:
        x, y, w, d = self._box(one)
        return box(x, y, x + w, y + d)

    def _words(self, pile: list[tuple[int, PlacementEntry]]) -> None:
        x, y, w, d = self._box(pile[0][1])
        left, top = self._at(x, y + d)
        wide, deep, pad = w / self.scale, d / self.scale, min(1.5 * self.unit * len(pile), 0.08 * w / self.scale)
        share = (deep - 2 * pad) / len(pile)
        for level, (index, one) in enumerate(reversed(pile)):
            begin, room = top + pad + level * share, (left + pad, wide - 2 * pad)
            lines = [one.name or self.parts[one.mark].name]
            lines += [f"{c.count} x {c.item}" for c in self.drawer.contents if c.placement == index]
            head = one.mark + (f", turned {one.turn}\u00b0" if one.turn else "")
            head += f", z {one.at[2]:g}" if len(pile) > 1 else ""
            size = min(4 * self.unit, share / LINE)
            fits = len(head) * 0.4 * size <= room[1]
            self.sheet.write(head if fits else one.mark, (room[0], begin, room[1]), size, bold=True, least=0.01)
            begin, small = begin + LINE * size, min(2.6 * self.unit, size)
            for line in lines:
                if begin + LINE * small > top + pad + (level + 1) * share:
                    break
                self.sheet.write(line, (room[0], begin, room[1]), small, least=0.7 * small)
                begin += LINE * small

    def _dimensions(self) -> None:
        unit, (wide, deep, high) = self.unit, self.drawer.size
        width, (x, y) = wide / self.scale, (self.left, self.base)
        thin = 0.2 * unit
        level = y + 4 * unit
        self.sheet.line((x, level), (x + width, level), width=thin)
        for edge in (x, x + width):
            self.sheet.line((edge, level - 1.5 * unit), (edge, level + 1.5 * unit), width=thin)
        side = x - 4 * unit
        self.sheet.line((side, self.top), (side, y), width=thin)
        for edge in (self.top, y):
            self.sheet.line((side - 1.5 * unit, edge), (side + 1.5 * unit, edge), width=thin)
        left, room = self.frame[0] + 4 * unit, self.frame[2] - 8 * unit
        over = self.drawer.leftover
        for row, (text, bold) in enumerate((
            ("front of the drawer", True),
            (f"Width {wide:g}, depth {deep:g}, height {high:g} mm; cells leave {over[0]:g} x {over[1]:g} mm", False),
        )):  # fmt: skip
            self.sheet.write(text, (left, y + (7 + 5 * row) * unit, room), 3.2 * unit, bold=bold, least=1.8 * unit,
                             align="middle")  # fmt: skip
        length = next(n for n in (100, 50, 20, 10) if n / self.scale <= room / 2 or n == 10)  # noqa: PLR2004 - last
        bar = length / self.scale
        self.sheet.rect(left, y + 20 * unit, bar / 2, 1.5 * unit, fill=0.0, width=thin)
        self.sheet.rect(left + bar / 2, y + 20 * unit, bar / 2, 1.5 * unit, width=thin)
        self.sheet.write(f"{length} mm", (left + bar + 2 * unit, y + 19 * unit, room - bar - 2 * unit), 3 * unit)

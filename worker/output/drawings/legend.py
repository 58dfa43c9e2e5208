"""The legend of a map: its marks, the place of each piece, the steps of assembly, and the cautions."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from worker.output.drawings.font import LINE, lacks, wrapped
from worker.output.drawings.group_tints import Tint
from worker.output.drawings.mapped_drawer import MappedDrawer, MappedPart
from worker.output.drawings.panel_legend import panel_note, panel_rows, panel_steps
from worker.output.drawings.sheet import LEAST, Path, TextLine
from worker.printing.print_order import is_test_print

__all__ = ["LegendPage", "legend"]

_BODY: Final = 2.7
_SMALL: Final = 2.3
_HEAD: Final = 3.8
#: Line spacing in line heights; space before a heading and after a table row, in mm.
_LEAD: Final = 1.1
_BEFORE: Final = 3.0
_AFTER: Final = 0.6

#: Table columns: heading, and fraction of the table's width.
_PIECES: Final = (("mark", 0.09), ("kind", 0.09), ("pieces", 0.1), ("width x depth x height, mm", 0.3), ("name", 0.42))
_TRAYS: Final = (("mark", 0.09), ("column, row", 0.31), ("contents and orientation", 0.6))
_TILES: Final = (("mark", 0.09), ("mm from the left and from the front", 0.6), ("rotation", 0.31))
_PANELS: Final = (
    ("panel", 0.2),
    ("mm from the drawer's usable corner", 0.4),
    ("strips in order, shoes, clips, feet", 0.4),
)
_LANES: Final = (("lane", 0.2), ("size and front left corner, mm", 0.4), ("contents", 0.4))
#: Width of a swatch, mm.
_SWATCH: Final = 6.0
#: Maximum number of positions listed in one row.
_MOST: Final = 60


@dataclass(slots=True)
class LegendPage:
    """A page of the legend: its shapes, with the origin at the top left corner, and their total height in mm."""

    height: float = 0.0
    shapes: list[Path | TextLine] = field(default_factory=list)

    def moved(self, x: float, y: float) -> list[Path | TextLine]:
        """Return the shapes with the page's top left corner at ``x, y``, in mm of the sheet."""
        return [
            replace(shape, at=(shape.at[0] + x, shape.at[1] + y)) if isinstance(shape, TextLine)
            else replace(shape, points=tuple((u + x, v + y) for u, v in shape.points))
            for shape in self.shapes
        ]  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Row:
    """A row of cells ``(left edge as a fraction of the width, lines of text)``; a bold row stays with the next one."""

    cells: tuple[tuple[float, tuple[str, ...]], ...]
    size: float = _BODY
    bold: bool = False
    before: float = 0.0
    after: float = 0.0
    rule: bool = False
    tint: Tint | None = None

    @property
    def lines(self) -> int:
        return max((len(lines) for _, lines in self.cells), default=0)

    @property
    def height(self) -> float:
        return self.before + self.lines * LINE * _LEAD * self.size + self.after


def legend(
    mapped: MappedDrawer, width: float, height: float | None, unit: float, pauses: Sequence[str] = ()
) -> list[LegendPage]:
    """Return the legend, broken into pages.

    Args:
        mapped: the drawer.
        width: of a page, mm.
        height: the maximum height of a page, mm; None for one page of any height.
        unit: scale of the text: mm on the sheet for a nominal mm.
        pauses: what to do at pauses of runs, a line each.
    """
    pages = [LegendPage()]
    rows = list(_rows(mapped, width / unit, pauses))
    # the page number is below the legend
    most = None if height is None else height / unit - 2.0 * LINE * LEAST
    for row, then in zip(rows, [*rows[1:], None], strict=True):
        needed = row.height + (then.height if row.bold and then is not None else 0.0)
        if most is not None and pages[-1].height + needed > most and pages[-1].shapes:
            pages.append(LegendPage())
        page = pages[-1]
        top = page.height + (row.before if page.shapes else 0.0)
        for fraction, lines in row.cells:
            for number, line in enumerate(lines):
                if line:
                    at = (fraction * width, (top + number * LINE * _LEAD * row.size) * unit)
                    page.shapes.append(TextLine(line, at, row.size * unit, row.bold))
        if row.tint is not None:
            left, low = 0.0, (top + row.size * LINE) * unit
            corners = ((left, top * unit), (_SWATCH * unit, top * unit), (_SWATCH * unit, low), (left, low))
            page.shapes.append(Path(corners, closed=True, fill=row.tint, width=0.2 * unit))
        page.height = top + row.height - row.before
        if row.rule:
            level = (page.height - row.after / 2.0) * unit
            page.shapes.append(Path(((0.0, level), (width, level)), stroke=0.7, width=0.12 * unit))
    for page in pages:
        page.height *= unit
    return pages


def _rows(mapped: MappedDrawer, width: float, pauses: Sequence[str]) -> Iterator[_Row]:
    drawer, plan = mapped.drawer, mapped.plan
    counts = Counter(place.mark for place in drawer.placements)
    yield _heading(
        "Pieces of this drawer" + (f" (for each of {drawer.copies} identical drawers)" if drawer.copies > 1 else "")
    )
    yield _table([heading for heading, _ in _PIECES], _PIECES, width, bold=True)
    for part in plan.parts:
        if count := counts[part.mark]:
            size = " x ".join(f"{round(length, 2):g}" for length in part.size)
            yield _table([part.mark, part.kind, str(count), size, part.name], _PIECES, width)
    if mapped.cells:
        left, front, right, back = (f"{round(edge, 1) + 0.0:g}" for edge in mapped.edges)
        note = f"The margins around the cells are {left} mm left, {right} right, {front} front and {back} back."
        yield from _prose(f"{note} {_free(mapped)}", _BODY, width)
    yield from _groups(mapped, width)
    yield from _places(mapped, width)
    yield from _pauses(pauses, width)
    yield from _steps(mapped, width)
    missing = [unplaced for unplaced in plan.unplaced if unplaced.drawer in {None, drawer.name}]
    if missing:
        yield _heading("Items not placed")
        for lost in missing:
            yield from _prose(f"{lost.count} x {lost.item}: {lost.reason} {lost.remedy or ''}", _BODY, width)
    if plan.cautions:
        yield _heading("Cautions")
        for caution in plan.cautions:
            yield from _prose(f"{caution.topic}: {caution.text}", _SMALL, width)
    if any(map(lacks, _texts(mapped))):
        yield _heading("Characters")
        text = "In the PDF, ? replaces characters that the typeface lacks; the SVG and the manifest show them."
        yield from _prose(text, _BODY, width)


def _groups(mapped: MappedDrawer, width: float) -> Iterator[_Row]:
    """Yield the groups whose trays are tinted, each with its tint and its trays."""
    marks: dict[str, dict[str, None]] = {}
    for stack in mapped.stacks:
        for tray in stack:
            if (name := mapped.group_of(tray)) in mapped.tints and name is not None:
                marks.setdefault(name, {})[tray.place.mark] = None
    if marks:
        yield _heading("Groups")
    for name, own in marks.items():
        lines = wrapped(f"{name}: {' '.join(own)}", width - 2.0 * _SWATCH, _BODY)
        yield _Row(((2.0 * _SWATCH / width, tuple(lines)),), after=_AFTER, tint=mapped.tints[name])


def _pauses(pauses: Sequence[str], width: float) -> Iterator[_Row]:
    if pauses:
        yield _heading("Pauses while printing")
    for pause in pauses:
        yield from _prose(pause, _BODY, width)


def _free(mapped: MappedDrawer) -> str:
    drawer = mapped.drawer
    halves = f" and {drawer.half} half" if drawer.half else ""
    free = f"an area of {drawer.free / 4.0:g} whole cells is free" if drawer.free else "none is free"
    return f"Of {drawer.whole} whole{halves} cells, {free}."


def _texts(mapped: MappedDrawer) -> Iterator[str]:
    yield mapped.plan.name
    yield mapped.drawer.name
    for stack in mapped.stacks:
        for tray in stack:
            yield from mapped.captions(tray)
            yield tray.part.name
    for lost in mapped.plan.unplaced:
        yield lost.item


def _places(mapped: MappedDrawer, width: float) -> Iterator[_Row]:
    """Yield tables of the positions of trays and tiles; pieces that differ in position only share a row."""
    trays: dict[tuple[str, str], list[MappedPart]] = {}
    for stack in mapped.stacks:
        for tray in stack:
            # the captions name the tray below, which can differ for equal marks
            trays.setdefault((tray.place.mark, ", ".join(mapped.captions(tray))), []).append(tray)
    if trays:
        yield _heading("Tray positions")
        yield _table([heading for heading, _ in _TRAYS], _TRAYS, width, bold=True)
        for (mark, text), parts_alike in sorted(trays.items(), key=lambda entry: min(tray.index for tray in entry[1])):
            yield _table([mark, _listed([_cell(tray) for tray in parts_alike]), text], _TRAYS, width)
        text = "Columns and rows are counted from 0 at the front left, as along the edges of the map."
        yield from _prose(text, _SMALL, width)
    yield from _panel_places(mapped, width)
    tiles: dict[tuple[str, int], list[MappedPart]] = {}
    for tile in mapped.floor:
        tiles.setdefault((tile.place.mark, tile.place.turn), []).append(tile)
    if not tiles:
        return
    yield _heading("Tile positions")
    yield _table([heading for heading, _ in _TILES], _TILES, width, bold=True)
    for (mark, turn), parts_alike in tiles.items():
        spots = [f"({tile.place.at[0]:.1f}, {tile.place.at[1]:.1f})" for tile in parts_alike]
        yield _table([mark, _listed(spots), f"{turn}\u00b0 counter-clockwise" if turn else "no"], _TILES, width)


def _panel_places(mapped: MappedDrawer, width: float) -> Iterator[_Row]:
    """Yield the table of panels: where each runs, and its parts."""
    if mapped.drawer.lanes:
        yield _heading("Lanes")
        yield _table([heading for heading, _ in _LANES], _LANES, width, bold=True)
        for index, lane in enumerate(mapped.drawer.lanes):
            corner, size = f"({lane.at[0]:.1f}, {lane.at[1]:.1f})", f"{lane.size[0]:.0f} x {lane.size[1]:.0f}"
            held = ", ".join(mapped.lane_captions(index))
            yield _table([lane.name, f"{size} at {corner}", held], _LANES, width)
    if not mapped.drawer.panels:
        return
    yield _heading("Panel positions")
    yield _table([heading for heading, _ in _PANELS], _PANELS, width, bold=True)
    for row in panel_rows(mapped.drawer):
        yield _table(row, _PANELS, width)
    yield from _prose(panel_note(mapped.drawer), _SMALL, width)


def _cell(tray: MappedPart) -> str:
    if tray.place.cell is None:
        return f"({tray.place.at[0]:.1f} mm, {tray.place.at[1]:.1f} mm)"
    return f"({tray.place.cell[0]:g}, {tray.place.cell[1]:g})"


def _listed(spots: list[str]) -> str:
    listed = " ".join(spots[:_MOST])
    return listed if len(spots) <= _MOST else f"{listed} and {len(spots) - _MOST} more"


def _steps(mapped: MappedDrawer, width: float) -> Iterator[_Row]:
    steps, parts = [], mapped.plan.parts
    if any(is_test_print(part.kind) for part in parts):
        where = " on each kind of printer" if any(is_test_print(p.kind) and p.quantity > 1 for p in parts) else ""
        steps.append(f"Print the coupon{where} first and find the clearance that fits before you print anything else.")
    steps += _floor_steps(mapped)
    steps += panel_steps(mapped.drawer)
    if mapped.stacks:
        steps += _joined(mapped)
    if mapped.layers and mapped.layers[0]:
        steps.append("Place each tray at its mark; its feet drop into the sockets.")
    steps += _upper(mapped)
    if any(len(stack) > 1 for stack in mapped.stacks):
        steps.append(
            "A hatched corner and a dashed line are a stack of trays: the highest is named first, the lowest goes in "
            "first."
        )
    if any(tray.place.turn for stack in mapped.stacks for tray in stack):
        steps.append("A grey triangle points to the front of a turned tray.")
    if mapped.drawer.copies > 1:
        steps.append(f"Repeat this for all {mapped.drawer.copies} identical drawers.")
    yield _heading("Assembly")
    for number, step in enumerate(steps, start=1):
        yield from _prose(f"{number}. {step}", _BODY, width)


def _upper(mapped: MappedDrawer) -> Iterator[str]:
    """Yield the step in which trays are set on several others, lowest layer first."""
    marks = [dict.fromkeys(tray.place.mark for stack in layer for tray in stack) for layer in mapped.layers[1:]]
    if marks:
        order = ", then ".join(" ".join(layer) for layer in marks)
        panels = any(upper.panels for upper in mapped.drawer.upper)
        rims = any(upper.on for upper in mapped.drawer.upper)
        seats = " and ".join(["the rims of those below"] * rims + ["the panels that their rows name"] * panels)
        yield (
            f"Then set the upper trays on {seats}, as on their own page of the map: {order}. Lift an "
            "upper tray straight up to reach what is below it, and take out first what stands on it."
        )


def _floor_steps(mapped: MappedDrawer) -> Iterator[str]:
    """Yield the steps in which the floor is laid."""
    keys = any(part.part.kind == "key" for part in mapped.floor)
    text = "Lay the tiles from the front left corner, as marked on the map"
    if mapped.floor:
        yield (f"{text}. Press a key into each seam where the map shows one in black." if keys else f"{text}.")
    if len(mapped.drawer.outline) > 1:
        yield ("Dark areas on the map are obstacles that the floor leaves free.")
    if left_out := mapped.drawer.floor.left_out:
        area = sum(part.area for part in left_out)
        yield (f"Hatched areas on the map have no floor: {area:.0f} mm\u00b2 that cannot be printed soundly.")
    loose = [mapped.drawer.placements[index].mark for index in mapped.drawer.floor.loose]
    if loose:
        yield (f"Only the drawer's sides hold {', '.join(loose)} in place: lay these tiles last.")


def _joined(mapped: MappedDrawer) -> Iterator[str]:
    """Yield the steps in which trays are joined from pieces, those of the same pieces once."""
    orders: dict[tuple[str, str], int] = {}
    for tray in mapped.drawer.jointed:
        first, *others = (mapped.drawer.placements[index].mark for index in tray.pieces)
        step = tray.name, f"{first}, then {', then '.join(others)}"
        orders[step] = orders.get(step, 0) + 1
    if not orders:
        return
    yield (
        "Join the trays that are printed in pieces, with dashed seams on the map, on a level table: lower each piece "
        "straight down onto those before it, until its tongues sit in their slots. A drop of glue in each slot makes "
        "the tray one piece for good; without it, lift the tray by all of its pieces."
    )
    for (name, order), count in orders.items():
        yield f"{name}{'' if count == 1 else f', each of {count}'}: {order}."


def _heading(text: str) -> _Row:
    return _Row(((0.0, (text,)),), _HEAD, bold=True, before=_BEFORE, after=_AFTER)


def _prose(text: str, size: float, width: float) -> Iterator[_Row]:
    lines = wrapped(text, width, size)
    for number, line in enumerate(lines, start=1):
        yield _Row(((0.0, (line,)),), size, after=_AFTER if number == len(lines) else 0.0)


def _table(texts: list[str], columns: tuple[tuple[str, float], ...], width: float, *, bold: bool = False) -> _Row:
    cells, start = [], 0.0
    for text, (_, fraction) in zip(texts, columns, strict=True):
        cells.append((start, tuple(wrapped(text, fraction * width - 1.5, _BODY, bold=bold))))
        start += fraction
    return _Row(tuple(cells), bold=bold, after=_AFTER, rule=True)

"""The words of a map: what its marks mean, where each piece stands, the steps of assembly, and cautions."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

from worker.output.drawings.font import LINE, lacks, wrapped
from worker.output.drawings.map_ground import Ground, Stood
from worker.output.drawings.sheet import LEAST, Path, TextElement
from worker.printing.print_order import is_test_print

__all__ = ["LegendPage", "legend"]

_BODY: Final = 2.7
_SMALL: Final = 2.3
_HEAD: Final = 3.8
#: Space between lines, in lines; before a heading and after a row of a table, in mm.
_LEAD: Final = 1.1
_BEFORE: Final = 3.0
_AFTER: Final = 0.6

#: Columns: heading and share of the width.
_PIECES: Final = (("mark", 0.09), ("kind", 0.09), ("pieces", 0.1), ("width x depth x height, mm", 0.3), ("name", 0.42))
_TRAYS: Final = (("mark", 0.09), ("column, row", 0.31), ("what lies in it, and how it stands", 0.6))
_TILES: Final = (("mark", 0.09), ("mm from the left and the front", 0.6), ("turned", 0.31))
#: Places of one kind of piece that are listed, at most.
_MOST: Final = 60


@dataclass(slots=True)
class LegendPage:
    """Lines of text from the top left corner down, and the height that they take."""

    height: float = 0.0
    shapes: list[Path | TextElement] = field(default_factory=list)

    def moved(self, x: float, y: float) -> list[Path | TextElement]:
        """Return what is drawn with the page's corner moved to ``x, y``."""
        return [
            replace(one, at=(one.at[0] + x, one.at[1] + y)) if isinstance(one, TextElement)
            else replace(one, points=tuple((u + x, v + y) for u, v in one.points))
            for one in self.shapes
        ]  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Row:
    """Lines side by side: ``(share of the width, lines)``; a heading stays with the row after it."""

    cells: tuple[tuple[float, tuple[str, ...]], ...]
    size: float = _BODY
    bold: bool = False
    before: float = 0.0
    after: float = 0.0
    rule: bool = False

    @property
    def lines(self) -> int:
        return max((len(lines) for _, lines in self.cells), default=0)

    @property
    def height(self) -> float:
        return self.before + self.lines * LINE * _LEAD * self.size + self.after


def legend(ground: Ground, width: float, height: float | None, unit: float) -> list[LegendPage]:
    """Return the legend in pages of this width, and of this height at most; ``unit`` is a mm of its text."""
    pages = [LegendPage()]
    rows = list(_rows(ground, width / unit))
    # the foot of a page holds its number
    most = None if height is None else height / unit - 2.0 * LINE * LEAST
    for row, then in zip(rows, [*rows[1:], None], strict=True):
        needed = row.height + (then.height if row.bold and then is not None else 0.0)
        if most is not None and pages[-1].height + needed > most and pages[-1].shapes:
            pages.append(LegendPage())
        page = pages[-1]
        top = page.height + (row.before if page.shapes else 0.0)
        for share, lines in row.cells:
            for number, line in enumerate(lines):
                if line:
                    at = (share * width, (top + number * LINE * _LEAD * row.size) * unit)
                    page.shapes.append(TextElement(line, at, row.size * unit, row.bold))
        page.height = top + row.height - row.before
        if row.rule:
            level = (page.height - row.after / 2.0) * unit
            page.shapes.append(Path(((0.0, level), (width, level)), stroke=0.7, width=0.12 * unit))
    for page in pages:
        page.height *= unit
    return pages


def _rows(ground: Ground, width: float) -> Iterator[_Row]:
    drawer, plan = ground.drawer, ground.plan
    counts = Counter(one.mark for one in drawer.placements)
    yield _heading("Pieces of this drawer" + (f" (each of {drawer.copies} alike)" if drawer.copies > 1 else ""))
    yield _table([heading for heading, _ in _PIECES], _PIECES, width, bold=True)
    for part in plan.parts:
        if count := counts[part.mark]:
            size = " x ".join(f"{round(length, 2):g}" for length in part.size)
            yield _table([part.mark, part.kind, str(count), size, part.name], _PIECES, width)
    left, front, right, back = (f"{round(edge, 1) + 0.0:g}" for edge in ground.edges)
    note = f"The cells leave {left} mm at the left, {right} at the right, {front} in front and {back} at the back."
    yield from _prose(f"{note} {_free(ground)}", _BODY, width)
    yield from _places(ground, width)
    yield from _steps(ground, width)
    missing = [one for one in plan.unplaced if one.drawer in {None, drawer.name}]
    if missing:
        yield _heading("Without a place")
        for lost in missing:
            yield from _prose(f"{lost.count} x {lost.item}: {lost.reason} {lost.remedy or ''}", _BODY, width)
    if plan.cautions:
        yield _heading("Cautions")
        for one in plan.cautions:
            yield from _prose(f"{one.topic}: {one.text}", _SMALL, width)
    if any(map(lacks, _texts(ground))):
        yield _heading("Characters")
        told = "On paper, ? stands for a character that the typeface has not; the SVG and the manifest have it."
        yield from _prose(told, _BODY, width)


def _free(ground: Ground) -> str:
    drawer = ground.drawer
    halves = f" and {drawer.half} half" if drawer.half else ""
    free = f"the room of {drawer.free / 4.0:g} is free" if drawer.free else "none is free"
    return f"Of {drawer.whole} whole{halves} cells {free}."


def _texts(ground: Ground) -> Iterator[str]:
    yield ground.plan.name
    yield ground.drawer.name
    for pile in ground.piles:
        for one in pile:
            yield from ground.told(one)
            yield one.part.name
    for lost in ground.plan.unplaced:
        yield lost.item


def _places(ground: Ground, width: float) -> Iterator[_Row]:
    """Yield where each piece stands; pieces of which all but the place is the same share a row."""
    trays: dict[tuple[str, str], list[Stood]] = {}
    for pile in ground.piles:
        for one in pile:
            # two trays of one kind stand on different trays: what they stand on belongs to the row
            trays.setdefault((one.place.mark, ", ".join(ground.told(one))), []).append(one)
    if trays:
        yield _heading("Where the trays stand")
        yield _table([heading for heading, _ in _TRAYS], _TRAYS, width, bold=True)
        for (mark, told), stood in sorted(trays.items(), key=lambda entry: min(one.index for one in entry[1])):
            yield _table([mark, _listed([_cell(one) for one in stood]), told], _TRAYS, width)
        told = "Columns and rows are counted from 0 at the front left, as along the edges of the map."
        yield from _prose(told, _SMALL, width)
    tiles: dict[tuple[str, int], list[Stood]] = {}
    for one in ground.floor:
        tiles.setdefault((one.place.mark, one.place.turn), []).append(one)
    yield _heading("Where the floor lies")
    yield _table([heading for heading, _ in _TILES], _TILES, width, bold=True)
    for (mark, turn), stood in tiles.items():
        spots = [f"({one.place.at[0]:.1f}, {one.place.at[1]:.1f})" for one in stood]
        yield _table([mark, _listed(spots), f"{turn}\u00b0 counter-clockwise" if turn else "no"], _TILES, width)


def _cell(one: Stood) -> str:
    if one.place.cell is None:
        return f"({one.place.at[0]:.1f} mm, {one.place.at[1]:.1f} mm)"
    return f"({one.place.cell[0]:g}, {one.place.cell[1]:g})"


def _listed(spots: list[str]) -> str:
    told = " ".join(spots[:_MOST])
    return told if len(spots) <= _MOST else f"{told} and {len(spots) - _MOST} more"


def _steps(ground: Ground, width: float) -> Iterator[_Row]:
    steps = []
    if any(is_test_print(part.kind) for part in ground.plan.parts):
        steps.append("Print the coupon first and find the clearance that fits before you print anything else.")
    keys = any(one.part.kind == "key" for one in ground.floor)
    told = "Lay the floor from the front left corner, tile by tile, with the marks as on the map"
    steps.append(f"{told}; press a key into each seam where one is drawn dark." if keys else f"{told}.")
    if len(ground.drawer.outline) > 1:
        steps.append("Dark areas in the map are obstacles that the floor leaves free.")
    if ground.piles:
        steps.append("Set each tray in at its mark; it drops into the sockets under its feet.")
    if any(len(pile) > 1 for pile in ground.piles):
        steps.append(
            "A hatched corner and a dashed line are a pile of trays: the highest is named first, the lowest goes in "
            "first."
        )
    if any(one.place.turn for pile in ground.piles for one in pile):
        steps.append("A grey triangle points to the front of a tray that is turned.")
    if ground.drawer.copies > 1:
        steps.append(f"There are {ground.drawer.copies} such drawers: do each alike.")
    yield _heading("Putting it together")
    for number, step in enumerate(steps, start=1):
        yield from _prose(f"{number}. {step}", _BODY, width)


def _heading(text: str) -> _Row:
    return _Row(((0.0, (text,)),), _HEAD, bold=True, before=_BEFORE, after=_AFTER)


def _prose(text: str, size: float, width: float) -> Iterator[_Row]:
    lines = wrapped(text, width, size)
    for number, line in enumerate(lines, start=1):
        yield _Row(((0.0, (line,)),), size, after=_AFTER if number == len(lines) else 0.0)


def _table(texts: list[str], columns: tuple[tuple[str, float], ...], width: float, *, bold: bool = False) -> _Row:
    cells, start = [], 0.0
    for text, (_, share) in zip(texts, columns, strict=True):
        cells.append((start, tuple(wrapped(text, share * width - 1.5, _BODY, bold=bold))))
        start += share
    return _Row(tuple(cells), bold=bold, after=_AFTER, rule=True)

"""The sheet of a run: one page with the bed, what is on it, what it needs, what to do when, and where its pieces go."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

from worker.output.drawings.font import LINE, wrapped
from worker.output.drawings.paper import MARGIN, PAGES
from worker.output.drawings.sheet import LEAST, Frame, Sheet, to_pdf
from worker.output.filament_changes import pause_text, timed_pauses
from worker.spec.manifest import Manifest, PartEntry, RunEntry, StepEntry
from worker.spec.printer.printer import Printer

__all__ = ["run_sheet", "write_run_sheet"]

_TITLE: Final = 6.0
_HEADING: Final = 4.0
_TEXT: Final = 3.2
_GAP: Final = 5.0
#: Height of the page for the bed and what is beside it, mm.
_TOP: Final = 110.0
#: Width of the column beside the bed, mm.
_BESIDE: Final = 72.0
#: Space kept free at the foot of the page, mm.
_FOOT: Final = 8.0

_SAFETY: Final = (
    "Do not leave a running printer unattended, and keep flammable material away from it. Nozzle and bed are hot: let "
    "them cool down before you reach in. Ventilate the room. The manufacturer's instructions and local regulations "
    "take precedence over this sheet."
)


def write_run_sheet(manifest: Manifest, run: RunEntry, printer: Printer, step: StepEntry | None) -> bytes:
    """Return the sheet of a run as a PDF of one A4 page."""
    return to_pdf([run_sheet(manifest, run, printer, step)])


def run_sheet(manifest: Manifest, run: RunEntry, printer: Printer, step: StepEntry | None) -> Sheet:
    """Return the sheet of a run.

    Args:
        manifest: the job, with the run's parts.
        run: one of its runs, or one that was packed later.
        printer: its bed.
        step: the run's dates; None where it has none.

    Raises:
        KeyError: when the manifest lacks a part of the run.
    """
    width, height = PAGES["A4"]
    sheet = Sheet(width, height, f"Run {run.number}: {manifest.name}", "A print run: its bed, its dates, its pieces.")
    parts = {part.mark: part for part in manifest.parts}
    room = width - 2.0 * MARGIN
    sheet.write(sheet.title, (MARGIN, MARGIN, room), _TITLE, bold=True, least=3.0)
    top = MARGIN + LINE * _TITLE + _GAP
    _bed(sheet, run, parts, printer, (MARGIN, top, room - _BESIDE - _GAP, _TOP))
    _facts(sheet, run, parts, step, (width - MARGIN - _BESIDE, top, _BESIDE, _TOP))
    y = _paragraphs(sheet, "What to do", list(_actions(run, parts, step)), top + _TOP + _GAP)
    y = _pieces(sheet, manifest, run, parts, y)
    # the manifest's own caution on printing says the same
    others = [caution.text for caution in manifest.cautions if caution.topic != "printing"]
    _paragraphs(sheet, "Cautions", [_SAFETY, *others], y)
    return sheet


def _bed(sheet: Sheet, run: RunEntry, parts: dict[str, PartEntry], printer: Printer, frame: Frame) -> None:
    """Draw the bed as seen from above, its front at the bottom, with the mark of each piece."""
    left, top, across, down = frame
    wide, deep = printer.bed[:2]
    scale = min(across / wide, (down - LINE * _TEXT) / deep)
    low = top + deep * scale

    def box(at: Sequence[float], size: Sequence[float]) -> Frame:
        return left + at[0] * scale, low - (at[1] + size[1]) * scale, size[0] * scale, size[1] * scale

    sheet.rect(left, top, wide * scale, deep * scale, width=0.4)
    for area in printer.forbidden:
        sheet.rect(*box(area.at, area.size), fill=0.75, stroke=None)
    for piece in run.pieces:
        size = parts[piece.mark].size
        turned = (size[1], size[0]) if piece.turn in {90, 270} else size[:2]
        x, y, sx, sy = box(piece.at, turned)
        sheet.rect(x, y, sx, sy, fill=0.92, width=0.25)
        type_size = max(min(sx / 3.0, sy / 1.5, 6.0), LEAST)
        sheet.write(piece.mark, (x, y + (sy - LINE * type_size) / 2.0, sx), type_size, align="middle", least=LEAST)
    sheet.write(f"front, {wide:g} x {deep:g} mm", (left, low + 0.5, wide * scale), _TEXT, align="middle", least=LEAST)


def _facts(sheet: Sheet, run: RunEntry, parts: dict[str, PartEntry], step: StepEntry | None, frame: Frame) -> None:
    """Write what the run needs, and its dates."""
    tallest = max(parts[piece.mark].size[2] for piece in run.pieces)
    facts = [
        ("Filament", f"{run.material} {run.colour or ''}".rstrip()),
        ("Amount", "unknown" if run.grams is None else f"{run.grams:.0f} g, {run.metres or 0.0:.1f} m"),
        ("Layer", f"{run.layer:g} mm, lines of {run.line_width:g} mm"),
        ("Height", f"{tallest:.1f} mm, about {tallest / run.layer:.0f} layers"),
        ("Print time", _clock(run.seconds)),
        ("File", run.file or "not written yet"),
    ]
    if run.lettering is not None:
        facts.insert(1, ("Lettering", f"{run.lettering.material} {run.lettering.colour or ''}".rstrip()))
        changes = f"{run.lettering.changes} change{'' if run.lettering.changes == 1 else 's'}"
        times = f"{changes}, {run.lettering.waste:.1f} g wasted"
        facts.insert(2, ("", f"{run.lettering.grams:.1f} g of it; {times}"))
    if step is not None:
        facts += [
            ("Printer", step.printer),
            ("Start", f"{step.begin:%a %Y-%m-%d %H:%M}"),
            ("End", f"{step.end:%a %Y-%m-%d %H:%M}"),
            ("Bed free", f"{step.free:%a %Y-%m-%d %H:%M}"),
        ]
        if step.spool is not None:
            facts.append(("Spool", f"one with {step.spool:.0f} g"))
    left, y, across, _ = frame
    for name, value in facts:
        sheet.write(name, (left, y, 22.0), _TEXT, bold=True)
        sheet.write(value, (left + 22.0, y, across - 22.0), _TEXT, least=LEAST)
        y += LINE * _TEXT + 1.5


def _actions(run: RunEntry, parts: dict[str, PartEntry], step: StepEntry | None) -> Iterator[str]:
    """Yield what somebody does, in order of time and height."""
    tallest = max(parts[piece.mark].size[2] for piece in run.pieces)
    yield "Before the start: clear and clean the bed, check the filament against this sheet, and load the file."
    for swap in step.swaps if step is not None else ():
        onto = "" if swap.onto is None else f" with {swap.onto:.0f} g"
        if swap.after_grams == 0.0:
            yield f"Before the start: change to a spool{onto}; the one on the printer does not last."
    pauses = list(timed_pauses(run, step))
    yield from (pause_text(pause) for pause, _ in pauses if pause.height == 0.0)
    if run.lettering is not None and run.lettering.method == "bodies":
        yield "Before the start: load both filaments, and give each body of a part its own in the slicing program."
    first = f"to {step.attended_until:%H:%M}" if step is not None else "to its end"
    yield f"0 to {run.layer:g} mm: watch the first layer {first}. Stop the print if a line comes loose."
    for swap in step.swaps if step is not None else ():
        if swap.after_grams > 0.0:
            onto = "" if swap.onto is None else f" with {swap.onto:.0f} g"
            at = "" if swap.at is None else f", at about {swap.at:%H:%M on %a}"
            absent = "" if swap.attended else " Nobody is present then."
            yield f"After about {swap.after_grams:.0f} g{at}: the spool runs out; put on one{onto}.{absent}"
    yield from (f"{pause_text(pause, at)} The printer waits for you." for pause, at in pauses if pause.height > 0.0)
    yield f"{tallest:.1f} mm: the end. Let the bed cool down before you take the pieces off; marks are engraved."
    yield "Record the run as printed, with the number of failed pieces, or as failed."


def _pieces(sheet: Sheet, manifest: Manifest, run: RunEntry, parts: dict[str, PartEntry], y: float) -> float:
    """Write the pieces with their drawers; return the lower end."""
    width = sheet.width - 2.0 * MARGIN
    lefts = (0.0, 14.0, 28.0, 78.0, 112.0)
    heads = ("mark", "pieces", "name", "size, mm", "drawer: column/row from the front left")
    counts = Counter((piece.mark, piece.drawer) for piece in run.pieces)
    sheet.write("Where the pieces go", (MARGIN, y, width), _HEADING, bold=True)
    y += LINE * _HEADING + 1.0
    rows = [heads]
    for (mark, drawer), count in sorted(counts.items(), key=lambda entry: (len(entry[0][0]), entry[0][0])):
        part = parts[mark]
        size = " x ".join(f"{side:.1f}" for side in part.size)
        rows.append((mark, str(count), part.name, size, _places(manifest, mark, drawer)))
    most = max(int((sheet.height * 0.8 - y) / (LINE * _TEXT)), 2)
    shown = rows if len(rows) <= most else [*rows[: most - 1], ("", "", f"and {len(rows) - most + 1} more", "", "")]
    for row in shown:
        for index, (text, left) in enumerate(zip(row, lefts, strict=True)):
            right = lefts[index + 1] if index + 1 < len(lefts) else width
            sheet.write(text, (MARGIN + left, y, right - left - 1.0), _TEXT, bold=row is heads, least=LEAST)
        y += LINE * _TEXT
    return y + _GAP


def _places(manifest: Manifest, mark: str, drawer: str | None) -> str:
    """Return the drawer and the places in it that pieces of a mark take, as column and row from the front left."""
    if drawer is None:
        return "none: try the plug in the coupon"
    cells = [
        place.cell
        for entry in manifest.drawers
        if entry.name == drawer
        for place in entry.placements
        if place.mark == mark and place.cell is not None
    ]
    where = ", ".join(f"{x + 1:g}/{y + 1:g}" for x, y in dict.fromkeys(cells))
    return f"{drawer}: {where}" if where else f"{drawer}: see the map"


def _paragraphs(sheet: Sheet, heading: str, paragraphs: Sequence[str], y: float) -> float:
    """Write paragraphs below a heading, those that fit the page as a whole; return the lower end."""
    room = sheet.width - 2.0 * MARGIN
    sheet.write(heading, (MARGIN, y, room), _HEADING, bold=True)
    y += LINE * _HEADING + 1.0
    for paragraph in paragraphs:
        lines = wrapped(paragraph, room - 4.0, _TEXT)
        if y + len(lines) * LINE * _TEXT > sheet.height - _FOOT:
            continue
        for index, line in enumerate(lines):
            if index == 0:
                sheet.write("-", (MARGIN, y, 4.0), _TEXT)
            sheet.write(line, (MARGIN + 4.0, y, room - 4.0), _TEXT, least=LEAST)
            y += LINE * _TEXT
    return y + _GAP


def _clock(seconds: float | None) -> str:
    if seconds is None:
        return "unknown"
    minutes = round(seconds / 60.0)
    return f"{minutes // 60}:{minutes % 60:02d} h"

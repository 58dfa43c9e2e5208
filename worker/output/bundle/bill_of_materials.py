"""The bill of materials as CSV (RFC 4180): a header, then every part, all parts together, and the filament to buy.

Text that a spreadsheet would take for a formula gets an apostrophe in front: what begins with =, +, -, @, their
full-width forms, a tab or a line break. The apostrophe says "this is text"; a program that reads the file strips it.
"""

import csv
import io
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Final

from worker.spec.manifest import EstimateEntry, Manifest, PartEntry, PurchaseEntry, WorkEntry

__all__ = ["COLUMNS", "write_bill"]

#: The columns. ``seconds_each`` is one piece alone on its bed, with heating; ``seconds`` of a part is what its pieces'
#: own lines add to their runs, and of all parts all runs with heating.
COLUMNS: Final = (
    "entry", "mark", "kind", "name", "quantity", "to_print", "width_mm", "depth_mm", "height_mm", "material", "colour",
    "grams_each", "grams", "metres_each", "metres", "cost_each", "cost", "seconds_each", "seconds", "runs",
    "grams_on_spools", "spools_to_buy",
)  # fmt: skip

_FORMULA: Final = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\t", "\r", "\n")


def write_bill(manifest: Manifest) -> bytes:
    """Return the bill of a job, in UTF-8, the same bytes for the same manifest; what is not known is left empty.

    ``entry`` says what a row is: ``part``, ``all`` or ``filament``. ``to_print`` counts the pieces in the runs, which
    are fewer than ``quantity`` where some are printed already; sums are of these.
    """
    numbers: dict[str, list[int]] = {}
    counts: Counter[str] = Counter()
    for run in manifest.runs:
        for piece in run.pieces:
            counts[piece.mark] += 1
            if run.number not in (listed := numbers.setdefault(piece.mark, [])):
                listed.append(run.number)
    rows: list[dict[str, str]] = []
    for part in manifest.parts:
        to_print = counts[part.mark] if manifest.runs else part.quantity
        rows.append({**_part(part, to_print), "runs": " ".join(map(str, numbers.get(part.mark, [])))})
    if manifest.work is not None:
        rows.append(_all(manifest.work, sum(part.quantity for part in manifest.parts)))
    rows += [_filament(one) for one in manifest.purchases]
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({column: _safe(cell) for column, cell in row.items()} for row in rows)
    return text.getvalue().encode()


def _part(part: PartEntry, to_print: int) -> dict[str, str]:
    width, depth, height = part.size
    row = {
        "entry": "part", "mark": part.mark, "kind": part.kind, "name": part.name, "quantity": str(part.quantity),
        "to_print": str(to_print), "width_mm": _plain(width), "depth_mm": _plain(depth), "height_mm": _plain(height),
    }  # fmt: skip
    return row if part.estimate is None else row | dict(_estimated(part.estimate, to_print))


def _estimated(one: EstimateEntry, to_print: int) -> Iterator[tuple[str, str]]:
    yield "material", one.material
    yield "colour", one.colour or ""
    for column, each in (("grams", one.grams), ("metres", one.metres), ("cost", one.cost)):
        if each is not None:
            yield f"{column}_each", f"{each:.2f}"
            yield column, f"{each * to_print:.2f}"
    yield "seconds_each", f"{one.seconds:.0f}"
    yield "seconds", f"{one.laying_seconds * to_print:.0f}"


def _all(work: WorkEntry, quantity: int) -> dict[str, str]:
    """Return the row of all parts together; ``runs`` is how many there are."""
    amounts: Mapping[str, float | None] = {"grams": work.grams, "metres": work.metres, "cost": work.cost}
    row = {"entry": "all", "quantity": str(quantity), "to_print": str(work.pieces), "runs": str(work.runs)}
    row |= {column: f"{amount:.2f}" for column, amount in amounts.items() if amount is not None}
    return row if work.seconds is None else row | {"seconds": f"{work.seconds:.0f}"}


def _filament(one: PurchaseEntry) -> dict[str, str]:
    """Return the row of a filament; ``cost`` is that of the spools to buy."""
    row = {
        "entry": "filament", "material": one.material, "colour": one.colour or "", "grams": f"{one.grams:.2f}",
        "grams_on_spools": f"{one.left:.2f}", "spools_to_buy": str(one.spools),
    }  # fmt: skip
    return row if one.cost is None else row | {"cost": f"{one.cost:.2f}"}


def _plain(length: float) -> str:
    return f"{length:.3f}".rstrip("0").rstrip(".")


def _safe(cell: str) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell.startswith(_FORMULA) else cell

"""The bill of materials as CSV (RFC 4180): a header, then the parts, their totals, and the filament to buy.

Text that a spreadsheet could evaluate as a formula, which begins with =, +, -, @, their full-width forms, a tab or a
line break, gets an apostrophe in front. Programs that read the file must strip it.
"""

import csv
import io
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Final

from worker.spec.manifest import EstimateEntry, Manifest, PartEntry, PurchaseEntry, WorkEntry

__all__ = ["COLUMNS", "write_bill"]

#: The columns. ``seconds_each`` is the print time of one piece alone on its bed, heating included. ``seconds`` is the
#: time that a part's pieces add to their runs; in the row of all parts it is the time of all runs, heating included.
COLUMNS: Final = (
    "entry", "mark", "kind", "name", "quantity", "to_print", "width_mm", "depth_mm", "height_mm", "material", "colour",
    "grams_each", "grams", "metres_each", "metres", "cost_each", "cost", "seconds_each", "seconds", "runs",
    "grams_on_spools", "spools_to_buy",
)  # fmt: skip

_FORMULA: Final = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20", "\t", "\r", "\n")


def write_bill(manifest: Manifest) -> bytes:
    """Return the bill of a job as UTF-8, the same bytes for the same manifest; unknown values are left empty.

    ``entry`` is the kind of row: ``part``, ``all`` or ``filament``. ``to_print`` counts the pieces in the runs,
    fewer than ``quantity`` when some are already printed; totals are of these pieces.
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
    rows += [_filament(purchase) for purchase in manifest.purchases]
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


def _estimated(estimate: EstimateEntry, to_print: int) -> Iterator[tuple[str, str]]:
    yield "material", estimate.material
    yield "colour", estimate.colour or ""
    for column, each in (("grams", estimate.grams), ("metres", estimate.metres), ("cost", estimate.cost)):
        if each is not None:
            yield f"{column}_each", f"{each:.2f}"
            yield column, f"{each * to_print:.2f}"
    yield "seconds_each", f"{estimate.seconds:.0f}"
    yield "seconds", f"{estimate.laying_seconds * to_print:.0f}"


def _all(work: WorkEntry, quantity: int) -> dict[str, str]:
    """Return the totals of all parts; ``runs`` is the number of runs."""
    amounts: Mapping[str, float | None] = {"grams": work.grams, "metres": work.metres, "cost": work.cost}
    row = {"entry": "all", "quantity": str(quantity), "to_print": str(work.pieces), "runs": str(work.runs)}
    row |= {column: f"{amount:.2f}" for column, amount in amounts.items() if amount is not None}
    return row if work.seconds is None else row | {"seconds": f"{work.seconds:.0f}"}


def _filament(purchase: PurchaseEntry) -> dict[str, str]:
    """Return the row of a filament; ``cost`` is the price of the spools to buy."""
    row = {
        "entry": "filament", "material": purchase.material, "colour": purchase.colour or "",
        "grams": f"{purchase.grams:.2f}",
        "grams_on_spools": f"{purchase.left:.2f}", "spools_to_buy": str(purchase.spools),
    }  # fmt: skip
    return row if purchase.cost is None else row | {"cost": f"{purchase.cost:.2f}"}


def _plain(length: float) -> str:
    return f"{length:.3f}".rstrip("0").rstrip(".")


def _safe(cell: str) -> str:
    """Return a cell that no spreadsheet evaluates as a formula."""
    return f"'{cell}" if cell.startswith(_FORMULA) else cell

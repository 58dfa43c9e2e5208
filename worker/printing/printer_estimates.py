"""Estimates of parts on printers other than the one that they are made for."""

from collections.abc import Callable, Iterable, Mapping
from typing import TypeAlias

from worker.printing.estimating.process_settings import process_of
from worker.printing.part_printers import printer_classes
from worker.printing.runs.demand import PartSize
from worker.printing.runs.printer_loads import EstimatesByPrinter
from worker.spec import Spec
from worker.spec.manifest import EstimateEntry, PartEntry, PartKind, PrinterEstimateEntry

__all__ = ["entries_of", "estimates_of", "price_on_others"]

#: Returns the estimates of parts with these marks, for the job as it is for other printers.
Pricing: TypeAlias = Callable[[Spec, frozenset[str]], Mapping[str, EstimateEntry]]


def price_on_others(
    spec: Spec, parts: Iterable[PartSize], own: Mapping[str, EstimateEntry], price: Pricing
) -> EstimatesByPrinter:
    """Return the estimates on each class of printers, of the parts that it can print and that are made for others.

    Args:
        spec: the job for the printers that the parts are made for.
        parts: parts of the job; those without an estimate of their own are left out.
        own: the estimates on those printers; they hold for all printers with equal print settings.
        price: see `Pricing`.
    """
    priced = [part for part in parts if part.mark in own]
    made_for = {kind: getattr(spec.printer_of(kind), "name", None) for kind in {part.kind for part in priced}}
    others: dict[str, dict[str, EstimateEntry]] = {}
    for printers in printer_classes(spec):
        elsewhere = [part for part in priced if made_for[part.kind] not in printers.names]
        if not elsewhere:
            continue
        able = [part for part in elsewhere if not any(printers.refusals(spec, part, own[part.mark]))]
        alike = {kind for kind in {part.kind for part in able} if _alike(spec, printers.spec, kind)}
        differing = frozenset(part.mark for part in able if part.kind not in alike)
        differing_estimates = price(printers.spec, differing) if differing else {}
        others[printers.names[0]] = {part.mark: differing_estimates.get(part.mark, own[part.mark]) for part in able}
    return others


def entries_of(spec: Spec, others: EstimatesByPrinter) -> dict[str, tuple[PrinterEstimateEntry, ...]]:
    """Return these estimates by the marks of the parts, as the manifest has them."""
    names = {own.names[0]: own.names for own in printer_classes(spec)}
    entries: dict[str, tuple[PrinterEstimateEntry, ...]] = {}
    for name, estimates in others.items():
        for mark, estimate in estimates.items():
            entry = PrinterEstimateEntry(printers=names[name], estimate=estimate)
            entries[mark] = (*entries.get(mark, ()), entry)
    return entries


def estimates_of(parts: Iterable[PartEntry]) -> EstimatesByPrinter:
    """Return the estimates of a manifest's parts on other printers than the one that they are made for."""
    others: dict[str, dict[str, EstimateEntry]] = {}
    for part in parts:
        for entry in part.other_estimates:
            others.setdefault(entry.printers[0], {})[part.mark] = entry.estimate
    return others


def _alike(spec: Spec, other: Spec, kind: PartKind) -> bool:
    """Return whether two printers print a kind of part with the same settings."""
    return process_of(spec, kind) == process_of(other, kind)

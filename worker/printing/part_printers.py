"""Which printers can print a part. Printers that differ in nothing but their names are one class."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol, Self

from worker.layout.floor.print_bed import Bed
from worker.printing.runs.demand import PartSize
from worker.spec import Spec
from worker.spec.manifest import EstimateEntry, PartKind, RunEntry
from worker.spec.printer.printer import Printer, refused_layer, refused_line
from worker.spec.tolerances import LENGTH_EPSILON

__all__ = ["PrinterClass", "made_as", "printer_classes", "printer_of"]


class _Made(Protocol):
    """A plan or a manifest: the printer that its parts are made for, and those of kinds that are made for others."""

    @property
    def made_for(self) -> str | None: ...

    @property
    def made_for_kinds(self) -> Mapping[PartKind, str]: ...


def made_as(spec: Spec, made: _Made) -> Spec:
    """Return a job for the printers that the parts of its plan or manifest are made for."""
    return spec.for_printer(made.made_for, made.made_for_kinds)


@dataclass(frozen=True, slots=True)
class PrinterClass:
    """Printers that print every part alike: their names, the job as it is for them, and their bed."""

    names: tuple[str, ...]
    spec: Spec
    bed: Bed

    @classmethod
    def of(cls, spec: Spec, names: tuple[str, ...]) -> Self:
        """Return the class of the printers with these names.

        Raises:
            KeyError: if the job has no printer of the first name.
        """
        own = spec.for_printer(names[0])
        return cls(names, own, Bed.of_printer(own.printer))

    def refusals(self, design: Spec, part: PartSize, estimate: EstimateEntry | None = None) -> Iterator[str]:
        """Yield why these printers cannot print a part; nothing if they can.

        A part is made for lines and layers of a certain size: thinner lines and lower layers print it as well, wider
        lines and higher layers do not.

        Args:
            design: the job for the printer that the part is made for.
            part: the part.
            estimate: that of the part on any printer; with it, the filament of its lettering counts.
        """
        printer, kind = self.spec.printer, part.kind
        width, depth, height = part.size
        if height > printer.bed[2] + LENGTH_EPSILON:
            yield f"it is {height:g} mm high"
        if not self.bed.holds(width, depth):
            yield "it does not fit the bed"
        materials = [self.spec.material_of(kind)]
        if self.spec.printing.lettering is not None and estimate is not None and estimate.lettering:
            materials.append(self.spec.printing.lettering.material)
        yield from (f"it does not print {own.name}" for own in materials if not printer.takes(own.name))
        line, layer = self.spec.line_width_of(kind), self.spec.layer_of(kind)
        if line > design.line_width_of(kind) + LENGTH_EPSILON or refused_line(line, printer.nozzle) is not None:
            yield f"lines of {design.line_width_of(kind):g} mm are too thin for it"
        if layer > design.layer_of(kind) + LENGTH_EPSILON or refused_layer(layer, printer.nozzle) is not None:
            yield f"layers of {design.layer_of(kind):g} mm do not suit it"


def printer_classes(spec: Spec) -> tuple[PrinterClass, ...]:
    """Return the classes of a job's printers, in the order of the first of each; none in a job of one printer."""
    alike: dict[str, list[str]] = {}
    for printer in spec.printers:
        alike.setdefault(printer.model_dump_json(exclude={"name"}), []).append(printer.name)
    return tuple(PrinterClass.of(spec, tuple(names)) for names in alike.values())


def printer_of(spec: Spec, run: RunEntry) -> Printer:
    """Return the printer whose bed a run is packed for.

    Raises:
        KeyError: if the job has no printer of the name in the run.
    """
    return spec.printer_named(run.printers[0] if run.printers else None)

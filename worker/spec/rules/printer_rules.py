"""Rules of a job's printers: their names, the filaments that they take, lines, layers and lettering."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from worker.spec.errors import SpecError
from worker.spec.primitives.pydantic_errors import Refusals, Step
from worker.spec.printer.lettering import PAUSED_FACES
from worker.spec.printer.material import Material
from worker.spec.printer.printer import Printer, refused_layer, refused_line

if TYPE_CHECKING:
    from worker.spec.job import Spec

__all__ = ["check_printers", "check_printing"]


def check_printers(spec: "Spec", refusals: Refusals) -> None:
    """Check the names of printers, and that each filament and layer of the job has a printer."""
    if spec.printers and "printer" in spec.model_fields_set:
        error = SpecError(
            "The job has both one printer and several.",
            value=None, limit="printer or printers", remedy="Remove printer, or list it in printers.",
        )  # fmt: skip
        refusals.add(error, "printer")
    names = [printer.name for printer in spec.printers]
    for index, name in enumerate(names):
        if name in names[:index]:
            error = SpecError(
                "Two printers have the same name.",
                value=name, limit="unique in the job", remedy="Rename one of them.",
            )  # fmt: skip
            refusals.add(error, "printers", index, "name")
    if spec.schedule is not None and spec.printers and "printers" in spec.schedule.model_fields_set:
        for index, own in enumerate(spec.schedule.printers):
            if own.name not in names:
                error = SpecError(
                    "The job has no printer of this name.",
                    value=own.name, limit=", ".join(names),
                    remedy="Correct the name, or list the printer in /printers.",
                )  # fmt: skip
                refusals.add(error, "schedule", "printers", index, "name")
    for material, *at in _filaments(spec):
        if not any(printer.takes(material.name) for printer in _every_printer(spec)):
            allowed = dict.fromkeys(name for own in _every_printer(spec) for name in own.materials or ())
            error = SpecError(
                "No printer takes this material.",
                value=material.name, limit=", ".join(allowed),
                remedy="Use another material, or add it to the materials of a printer.",
            )  # fmt: skip
            refusals.add(error, *at)


def _every_printer(spec: "Spec") -> Sequence[Printer]:
    """All printers of the job."""
    return spec.printers or (spec.printer,)


def _filaments(spec: "Spec") -> Iterator[tuple[Material, *tuple[Step, ...]]]:
    """Yield the job's filaments, each before its path."""
    if spec.printing.tile.material is None or spec.printing.tray.material is None:
        at: tuple[Step, ...] = ("material", "name") if "name" in spec.material.model_fields_set else ("material",)
        yield spec.material, *at
    for name, own in (("tile", spec.printing.tile), ("tray", spec.printing.tray)):
        if own.material is not None:
            yield own.material, "printing", name, "material", "name"
    if spec.printing.lettering is not None:
        yield spec.printing.lettering.material, "printing", "lettering", "material", "name"


def check_printing(spec: "Spec", refusals: Refusals) -> None:
    """Check that lines and layers suit the nozzle of a printer; layers to compare, those of all."""
    nozzle = max(printer.nozzle for printer in _every_printer(spec))
    for name, own in (("tile", spec.printing.tile), ("tray", spec.printing.tray)):
        if own.line_width is not None:
            refused = [refused_line(own.line_width, printer.nozzle) for printer in _every_printer(spec)]
            if refused[0] is not None and all(refused):
                refusals.add(refused[0], "printing", name, "line_width")
        if own.layer is not None and (coarse := refused_layer(own.layer, nozzle)) is not None:
            refusals.add(coarse, "printing", name, "layer")
    _check_lettering(spec, refusals)
    for index, process in enumerate(spec.printing.layer_processes):
        if (coarse := refused_layer(process.layer, nozzle)) is not None:
            refusals.add(coarse, "printing", "layer_processes", index, "layer")
    finest = min(printer.nozzle for printer in _every_printer(spec))
    for index, layer in enumerate(spec.printing.compare):
        if (coarse := refused_layer(layer, finest)) is not None:
            refusals.add(coarse, "printing", "compare", index)


def _check_lettering(spec: "Spec", refusals: Refusals) -> None:
    lettering = spec.printing.lettering
    if lettering is None:
        return
    for index, face in enumerate(lettering.faces or ()):
        if not spec.printer.tool_changes and face not in PAUSED_FACES:
            error = SpecError(
                f"A pause cannot colour lettering on the {face}: other lines lie in the same layers.",
                value=face, limit="top or bottom without printer.tool_changes",
                remedy="Leave the face out, or set printer.tool_changes if the printer can change filaments.",
            )  # fmt: skip
            refusals.add(error, "printing", "lettering", "faces", index)
    key = lettering.material.name, lettering.material.colour
    if key == (spec.material.name, spec.material.colour):
        error = SpecError(
            "The lettering has the same filament as the parts.",
            value=lettering.material.colour, limit="another colour, or another name",
            remedy="Give both filaments a colour, #RRGGBB.",
        )  # fmt: skip
        refusals.add(error, "printing", "lettering", "material", "colour")

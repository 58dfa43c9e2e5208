"""The file of a print run: its pieces placed on the bed, written with a preview, read back and checked."""

from collections.abc import Sequence

from worker.output.checks.part_checks import require
from worker.output.meshes.run_package import BedObject, check_run, write_run
from worker.output.preview.bed_picture import draw_bed
from worker.solids.mesh import Mesh
from worker.spec import Spec
from worker.spec.manifest import Check, Generator, RunEntry, RunPiece

__all__ = ["bed_object", "write_run_file"]


def bed_object(run: RunEntry, piece: RunPiece, mesh: Mesh, *, number: str, name: str) -> BedObject:
    """Return a piece of a run, placed on its bed. ``number`` identifies its mesh within the run, as the mark does."""
    return BedObject(
        mesh=mesh,
        name=f"{number} {name}".strip(),
        part_number=number,
        colour=run.colour,
        at=piece.at,
        turn=piece.turn,
        material=run.material,
    )


def write_run_file(
    run: RunEntry, objects: Sequence[BedObject], spec: Spec, generator: Generator, *, name: str, title: str
) -> tuple[bytes, tuple[Check, ...]]:
    """Return a run's file and the checks that it passed when read back.

    Raises:
        CheckFailed: if the file, as read back, does not match the run.
    """
    kept_off = [(*area.at, *area.size) for area in spec.printer.forbidden]
    picture = draw_bed(objects, (spec.printer.bed[0], spec.printer.bed[1]), kept_off)
    metadata = {"Application": f"{generator.name} {generator.version}", "Description": _print_settings(run)}
    data = write_run(objects, title=title, metadata=metadata, thumbnail=picture)
    checks = check_run(data, objects, spec.printer, spacing=spec.printing.spacing, subject=name)
    require(checks, name)
    return data, checks


def _print_settings(run: RunEntry) -> str:
    """Return the print settings of a run as text."""
    colour = f", {run.colour}" if run.colour else ""
    return f"{run.material}{colour}; layers of {run.layer:g} mm, lines of {run.line_width:g} mm, no supports"

"""The file of a print run: its pieces placed on the bed, written with a preview, read back and checked."""

from collections.abc import Sequence

from worker.output.checks.part_checks import require
from worker.output.filament_changes import filament_changes
from worker.output.meshes.run_package import BedObject, LetteringBody, check_run, write_run
from worker.output.meshes.stl import read_stl
from worker.output.meshes.threemf import read_3mf
from worker.output.preview.bed_picture import draw_bed
from worker.printing.part_printers import printer_of
from worker.solids.mesh import Mesh
from worker.spec import Spec
from worker.spec.manifest import STL_TYPE, THREEMF_TYPE, Check, Generator, RunEntry, RunPiece

__all__ = ["bed_object", "body_type", "read_bodies", "write_run_file"]


def bed_object(run: RunEntry, piece: RunPiece, bodies: Sequence[Mesh], *, number: str, name: str) -> BedObject:
    """Return a piece of a run, placed on its bed.

    ``bodies`` are its mesh and, if it is a body of its own, that of its lettering. ``number`` identifies them within
    the run, as the mark does.
    """
    lettering = None
    if len(bodies) > 1:
        second = run.lettering or run  # layers too coarse for lettering leave it in the run's own filament
        lettering = LetteringBody(bodies[1], second.material, second.colour)
    return BedObject(
        mesh=bodies[0],
        lettering=lettering,
        name=f"{number} {name}".strip(),
        part_number=number,
        colour=run.colour,
        at=piece.at,
        turn=piece.turn,
        material=run.material,
    )


def body_type(spec: Spec) -> str:
    """Return the media type of the part files that `read_bodies` reads for runs: 3MF if lettering is a body."""
    return THREEMF_TYPE if spec.body_faces else STL_TYPE


def read_bodies(media_type: str, data: bytes) -> tuple[Mesh, ...]:
    """Return the bodies of a part from its file: the part, and its lettering if the file has it as a body.

    Raises:
        CheckFailed: when the file cannot be read.
    """
    return tuple(read_3mf(data)) if media_type == THREEMF_TYPE else (read_stl(data),)


def write_run_file(
    run: RunEntry, objects: Sequence[BedObject], spec: Spec, generator: Generator, *, name: str, title: str
) -> tuple[bytes, tuple[Check, ...]]:
    """Return a run's file and the checks that it passed when read back.

    Raises:
        CheckFailed: if the file, as read back, does not match the run.
    """
    printer = printer_of(spec, run)
    kept_off = [(*area.at, *area.size) for area in printer.forbidden]
    picture = draw_bed(objects, (printer.bed[0], printer.bed[1]), kept_off)
    metadata = {"Application": f"{generator.name} {generator.version}", "Description": _print_settings(run)}
    data = write_run(objects, title=title, metadata=metadata, thumbnail=picture)
    checks = check_run(data, objects, printer, spacing=spec.printing.spacing, subject=name)
    require(checks, name)
    return data, checks


def _print_settings(run: RunEntry) -> str:
    """Return the print settings of a run as text."""
    colour = f", {run.colour}" if run.colour else ""
    settings = f"{run.material}{colour}; layers of {run.layer:g} mm, lines of {run.line_width:g} mm, no supports"
    return "; ".join([settings, *filament_changes(run)])

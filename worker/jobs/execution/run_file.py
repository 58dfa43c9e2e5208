"""A run's file: its pieces on the bed, drawn, written, read back and checked."""

from collections.abc import Sequence

from worker.output.checks.part_checks import require
from worker.output.meshes.run_package import BedObject, check_run, write_run
from worker.output.preview.bed_picture import draw_bed
from worker.solids.mesh import Mesh
from worker.spec import Spec
from worker.spec.manifest import Check, Generator, RunEntry, RunPiece

__all__ = ["bed_object", "write_run_file"]


def bed_object(run: RunEntry, piece: RunPiece, mesh: Mesh, *, number: str, name: str) -> BedObject:
    """Return a piece of a run on its bed. ``number`` tells its mesh from all others of the run, as its mark does."""
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
    """Return a run's file with its checks, which it has passed as read back.

    Raises:
        CheckFailed: when it is not the run.
    """
    kept_off = [(*one.at, *one.size) for one in spec.printer.forbidden]
    picture = draw_bed(objects, (spec.printer.bed[0], spec.printer.bed[1]), kept_off)
    told = {"Application": f"{generator.name} {generator.version}", "Description": _told(run)}
    data = write_run(objects, title=title, metadata=told, thumbnail=picture)
    checks = check_run(data, objects, spec.printer, spacing=spec.printing.spacing, subject=name)
    require(checks, name)
    return data, checks


def _told(run: RunEntry) -> str:
    """Return how a run is to be printed."""
    colour = f", {run.colour}" if run.colour else ""
    return f"{run.material}{colour}; layers of {run.layer:g} mm, lines of {run.line_width:g} mm, no supports"

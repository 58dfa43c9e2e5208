"""``drawerwright outline``: the outline of a thing from photos, a drawing or a model."""

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import orjson
import typer

from api.command.exit_codes import FAILED, ending, print_json
from api.command.options import Machine, Url, opened
from api.command.remote.job_run import left_running
from api.command.terminal.display import note, show_problem
from api.command.terminal.tables import say, table
from worker.spec.requests.silhouette import DrawingUnit, SheetPaper, SheetTint, ThingBody

if TYPE_CHECKING:  # at run time it brings the web framework along
    from api.documents.silhouettes import SilhouetteDocument

__all__ = ["outline"]

#: Option names that differ from the fields of a request.
_FIELDS: Final = {"number": "outline"}
_LENGTH: Final = "in mm, or with a unit"


def outline(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE...", exists=True, dir_okay=False,
            help="One or two photos (JPEG, PNG, WebP, HEIC), a drawing (SVG, DXF), a model (STL, 3MF, OBJ), or corners "
            "(JSON).",
        ),
    ],
    *,
    name: Annotated[str | None, typer.Option(help="Name of the thing. Default: that of the file.")] = None,
    thickness: Annotated[
        str | None, typer.Option(help=f"Height of the thing as it lies, {_LENGTH}; photos need it.")
    ] = None,
    body: Annotated[ThingBody | None, typer.Option(help="Photos: how its sides run. Default: stepped.")] = None,
    bar: Annotated[str | None, typer.Option(help=f"Photos: measured length of the sheet's bar, {_LENGTH}.")] = None,
    margin: Annotated[str | None, typer.Option(help=f"Photos: added on all sides, {_LENGTH}. Default: 0.5.")] = None,
    sheet: Annotated[SheetPaper | None, typer.Option(help="Photos: the sheet's paper. Default: as seen.")] = None,
    tint: Annotated[SheetTint | None, typer.Option(help="Photos: the field's colour. Default: as seen.")] = None,
    unit: Annotated[DrawingUnit | None, typer.Option(help="Unit of a drawing or model that does not say it.")] = None,
    layer: Annotated[str | None, typer.Option(help="Drawings: the layer or group to read. Default: all.")] = None,
    colour: Annotated[str | None, typer.Option(help="Drawings: the colour to read, as #rrggbb. Default: all.")] = None,
    number: Annotated[
        int | None, typer.Option("--outline", min=1, help="Drawings with several outlines: which, 1 is the largest.")
    ] = None,
    pose: Annotated[int | None, typer.Option(min=1, help="Models: the pose to rest in. Default: its own.")] = None,
    depth: Annotated[str | None, typer.Option(help=f"Models: how deep it lies in its pocket, {_LENGTH}.")] = None,
    repair: Annotated[bool, typer.Option("--repair", help="Models: accept a mesh that is not closed.")] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Folder for the pictures. Default: none are saved.")
    ] = None,
    url: Url = None,
    machine: Machine = False,
) -> None:  # fmt: skip
    """Read the outline of a thing, and keep it in the service, where specs name it by its id."""
    given = {
        "name": name or files[0].stem[:80], "thickness": _length(thickness), "body": body, "bar": _length(bar),
        "margin": _length(margin), "sheet": sheet, "tint": tint, "unit": unit, "layer": layer, "colour": colour,
        "number": number, "pose": pose, "depth": _length(depth), "repair": repair or None,
    }  # fmt: skip
    options = {_FIELDS.get(field, field): value for field, value in given.items() if value is not None}
    with ending(machine=machine), opened(url) as client:
        if len(files) == 1 and files[0].suffix.lower() == ".json":
            made = client.submit_corners(files[0].read_bytes())
        else:
            made = client.submit_silhouette([(file.name, file.read_bytes()) for file in files], orjson.dumps(options))
        with left_running(f"Silhouette {made.id}", f"GET /v1/silhouettes/{made.id}"):
            made = client.follow_silhouette(made)
        saved = (
            [] if out is None else [_save(out, made, kind, client.picture(made.id, kind)) for kind in _pictures(made)]
        )
    if machine:
        print_json(made.model_dump(mode="json") | {"saved": [str(path) for path in saved]})
    else:
        _show(made, saved)
    if made.state == "failed":
        raise typer.Exit(FAILED)


def _length(text: str | None) -> str | float | None:
    """Return a number without a unit as such: it is in mm."""
    if text is not None:
        with suppress(ValueError):
            return float(text)
    return text


def _pictures(made: "SilhouetteDocument") -> list[str]:
    return [
        name
        for name, link in (("outline.svg", made.links.outline), ("overlay.png", made.links.overlay))
        if link is not None
    ]


def _save(folder: Path, made: "SilhouetteDocument", kind: str, content: bytes) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{made.id}-{kind}"
    path.write_bytes(content)
    return path


def _show(made: "SilhouetteDocument", saved: list[Path]) -> None:
    if made.problem is not None:
        show_problem(made.problem.model_dump(mode="json", exclude_none=True))
        return
    if made.outline is not None:
        width, back = (max(side) - min(side) for side in zip(*made.outline.outer, strict=True))
        high = "of unknown height" if made.outline.depth is None else f"{made.outline.depth:g} mm high"
        say(f"{made.name}: {width:.1f} x {back:.1f} mm, {high}, within {made.outline.uncertainty:g} mm.")
        for warning in made.outline.warnings:
            note(warning)
    if len(made.poses) > 1:
        rows = [
            [f"{pose.pose}", " x ".join(f"{side:g}" for side in pose.size), f"{100.0 * pose.share:.0f} %"]
            for pose in made.poses
        ]
        table(("pose", "size", "likely"), rows)
    for path in saved:
        note(f"Saved {path}.")
    say(_json_shape(made))


def _json_shape(made: "SilhouetteDocument") -> str:
    shape: dict[str, Any] = {"kind": "silhouette", "id": made.id}
    return f'"shape": {orjson.dumps(shape).decode()}'

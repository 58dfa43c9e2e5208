"""From uploaded files to a silhouette: the reader for each kind of file, with the options of the request."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, cast, get_args

from worker.silhouettes.corners import outline_document
from worker.silhouettes.errors import SilhouetteError
from worker.silhouettes.picture_names import OVERLAY_NAME, RECTIFIED_NAME, photo_name
from worker.silhouettes.source_files import SourceFile, check_files
from worker.spec.requests.silhouette import SilhouetteRequest

__all__ = ["Reading", "SourceFile", "read_files"]


@dataclass(frozen=True, slots=True)
class Reading:
    """A silhouette as JSON, and pictures without metadata by their names, if it is from photos.

    They are the outline over the rectified photo, the rectified photo alone, and the photos if they are to be kept.
    """

    document: dict[str, Any]
    pictures: Mapping[str, bytes] = field(default_factory=dict)


def read_files(files: Sequence[SourceFile], request: SilhouetteRequest) -> Reading:
    """Return what files show.

    Raises:
        SilhouetteError: if they show no silhouette; with reason and remedy.
    """
    kind = check_files([file.format for file in files], request)
    if kind == "drawing":
        return _of_drawing(files[0], request)
    if kind == "model":
        return _of_model(files[0], request)
    return _of_photos(files, request)


def _of_drawing(file: SourceFile, request: SilhouetteRequest) -> Reading:
    from worker.silhouettes.drawing import drawing  # noqa: PLC0415 - its libraries take a second to load

    _check_unit(request, get_args(drawing.DrawingUnit))
    options = drawing.DrawingOptions(
        unit=cast("drawing.DrawingUnit | None", request.unit), layer=request.layer, colour=request.colour,
        outline=request.outline, depth=request.thickness,
    )  # fmt: skip
    made = drawing.read_drawing(file.content, cast("drawing.DrawingFormat", file.format), options)
    return Reading({"outline": outline_document(made), "poses": []})


def _of_model(file: SourceFile, request: SilhouetteRequest) -> Reading:
    from worker.silhouettes.model import mesh, model  # noqa: PLC0415 - as above

    _check_unit(request, get_args(mesh.ModelUnit))
    options = model.ModelOptions(
        unit=cast("mesh.ModelUnit | None", request.unit), pose=request.pose, depth=request.depth,
        repair=request.repair,
    )  # fmt: skip
    made = model.read_model(file.content, cast("mesh.ModelFormat", file.format), options)
    poses = [
        {"pose": number, "size": [round(side, 2) for side in pose.size], "share": round(pose.share, 4)}
        for number, pose in enumerate(made.poses, start=1)
    ]
    return Reading({"outline": outline_document(made.silhouette), "poses": poses})


def _of_photos(files: Sequence[SourceFile], request: SilhouetteRequest) -> Reading:
    from worker.silhouettes.photo import options, photo_reading, picture  # noqa: PLC0415 - as above

    chosen = options.PhotoOptions(
        thickness=cast("float", request.thickness),  # checked above
        body=request.body, bar=request.bar, size=request.sheet, tint=request.tint,
        margin=request.margin,
    )  # fmt: skip
    made = photo_reading.read_photos([file.content for file in files], chosen)
    overlay = made.overlay
    place = {"overlay_left": overlay.left, "overlay_top": overlay.top, "overlay_per_mm": overlay.per_mm}
    silhouette = replace(made.silhouette, details={**made.silhouette.details, **place})
    pictures = {OVERLAY_NAME: overlay.png, RECTIFIED_NAME: overlay.rectified}
    if request.keep:
        pictures |= {
            photo_name(number): picture.without_metadata(pixels) for number, pixels in enumerate(made.photos, start=1)
        }
    return Reading({"outline": outline_document(silhouette), "poses": []}, pictures)


def _check_unit(request: SilhouetteRequest, units: tuple[str, ...]) -> None:
    if request.unit is not None and request.unit not in units:
        raise SilhouetteError(
            "The unit is not one for this kind of file.", reason="no-unit", pointer="/unit", value=request.unit,
            limit=", ".join(units), remedy="Choose one of these.",
        )  # fmt: skip

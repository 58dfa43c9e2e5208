"""The files of one silhouette: which belong together, and what their kind needs."""

from collections.abc import Sequence
from dataclasses import dataclass

from worker.silhouettes.errors import SilhouetteError
from worker.silhouettes.file_format import FileFormat, SourceKind, kind_of
from worker.spec.requests.silhouette import SilhouetteRequest

__all__ = ["SourceFile", "check_files"]


@dataclass(frozen=True, slots=True)
class SourceFile:
    """An uploaded file."""

    format: FileFormat
    content: bytes


def check_files(formats: Sequence[FileFormat], request: SilhouetteRequest) -> SourceKind:
    """Return the kind of the files of one silhouette.

    Raises:
        SilhouetteError: if they do not belong together, or the request lacks what their kind needs.
    """
    kinds = {kind_of(each) for each in formats}
    if len(kinds) != 1 or (kinds != {"photo"} and len(formats) > 1):
        raise SilhouetteError(
            "The files do not belong together.", reason="several-files", value=list(formats),
            limit="one or two photos, or one drawing or model", remedy="Send each thing by itself.",
        )  # fmt: skip
    if kinds == {"photo"} and request.thickness is None:
        raise SilhouetteError(
            "The thickness of the thing is missing: a photo does not show it.", reason="thickness",
            pointer="/thickness", value=None, limit="required for photos",
            remedy="Measure the thing's height as it lies on the sheet.",
        )  # fmt: skip
    return kinds.pop()

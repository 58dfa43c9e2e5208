"""Formats of uploaded files: by the end of their name, checked against their first bytes."""

from typing import Final, Literal, TypeAlias, get_args

from worker.silhouettes.errors import SilhouetteError

__all__ = ["FORMATS", "FileFormat", "PhotoFormat", "SourceKind", "format_of", "kind_of"]

PhotoFormat: TypeAlias = Literal["jpeg", "png", "webp", "heic"]
FileFormat: TypeAlias = Literal["jpeg", "png", "webp", "heic", "svg", "dxf", "stl", "3mf", "obj"]
SourceKind: TypeAlias = Literal["photo", "drawing", "model"]

#: By the end of a file's name, without the dot.
FORMATS: Final[dict[str, FileFormat]] = {
    **{name: name for name in get_args(FileFormat)},
    "jpg": "jpeg",
    "jpe": "jpeg",
    "heif": "heic",
}

_KINDS: Final[dict[FileFormat, SourceKind]] = {
    "jpeg": "photo", "png": "photo", "webp": "photo", "heic": "photo",
    "svg": "drawing", "dxf": "drawing",
    "stl": "model", "3mf": "model", "obj": "model",
}  # fmt: skip

#: First bytes of the formats that have them (ISO/IEC 10918-1, ISO/IEC 15948, WebP container, APPNOTE.TXT 4.3.7).
_FIRST: Final[dict[FileFormat, bytes]] = {"jpeg": b"\xff\xd8\xff", "png": b"\x89PNG\r\n\x1a\n", "3mf": b"PK"}


def format_of(name: str, content: bytes) -> FileFormat:
    """Return the format of a file.

    Raises:
        SilhouetteError: if its name ends otherwise, or its content begins otherwise.
    """
    ending = name.rpartition(".")[2].lower()
    kind = FORMATS.get(ending)
    if kind is None:
        raise SilhouetteError(
            "The kind of file is unknown.", reason="unknown-format", value=name[-80:],
            limit=", ".join(sorted(FORMATS)), remedy="Send a file whose name ends with one of these.",
        )  # fmt: skip
    if not _begins(kind, content):
        raise SilhouetteError(
            f"The file is no {kind.upper()}, as its name says.", reason="unknown-format", value=name[-80:],
            limit="content that agrees with the name", remedy="Check the file, or correct the end of its name.",
        )  # fmt: skip
    return kind


def kind_of(file_format: FileFormat) -> SourceKind:
    """Return the kind of file of a format."""
    return _KINDS[file_format]


def _begins(kind: FileFormat, content: bytes) -> bool:
    if kind == "webp":
        return content[:4] == b"RIFF" and content[8:12] == b"WEBP"
    if kind == "heic":
        return content[4:8] == b"ftyp"  # ISO/IEC 14496-12, 4.3
    return content.startswith(_FIRST.get(kind, b""))

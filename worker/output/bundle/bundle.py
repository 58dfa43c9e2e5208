"""The bundle: all files of a job in one archive, with a page to read first."""

import textwrap
from collections.abc import Iterator, Mapping
from hashlib import sha256
from typing import Final

from worker.output.bundle.manifest_writer import manifest_bytes
from worker.output.bundle.summary import summary
from worker.output.bundle.zip_writer import Entry, write_zip
from worker.spec.errors import CheckFailed
from worker.spec.manifest import PDF_TYPE, THREEMF_TYPE, Changes, FileEntry, Manifest, PlacementEntry

#: Names inside the bundle.
READ_FIRST: Final = "READ-FIRST.txt"
MANIFEST: Final = "manifest.json"
PARTS: Final = "parts/"

#: Folders of the documents.
_FOLDERS: Final = {
    "run": "runs/", "map": "maps/", "labels": "labels/", "model": "models/", "bill": "", "calendar": "",
}  # fmt: skip

#: Are compressed in themselves.
_PACKED: Final = frozenset({THREEMF_TYPE, PDF_TYPE})

_WIDTH: Final = 100


def write_bundle(manifest: Manifest, files: Mapping[str, bytes]) -> bytes:
    """Return the bundle's bytes, the same for the same manifest and files.

    Args:
        manifest: the job's; the copy inside carries no entry of the bundle itself.
        files: the bytes of every file that the manifest's parts and documents name.

    Raises:
        CheckFailed: when a file that the manifest names is missing or is not what the manifest says.
    """
    inside = manifest.model_copy(update={"bundle": None})
    return write_zip(
        [
            Entry(READ_FIRST, read_first(inside).encode()),
            Entry(MANIFEST, manifest_bytes(inside)),
            *(
                Entry(PARTS + entry.name, _checked(entry, files), packed=entry.media_type in _PACKED)
                for part in inside.parts
                for entry in part.files
            ),
            *(
                Entry(
                    _FOLDERS[one.role] + one.file.name, _checked(one.file, files), packed=one.file.media_type in _PACKED
                )
                for one in inside.documents
            ),
        ]
    )


def read_first(manifest: Manifest) -> str:
    """Return the page to read first: cautions, warnings, and how many of which part to print."""
    lines = [manifest.name, "=" * max(len(manifest.name), 1), ""]
    lines += ["Cautions", "--------", *_paragraphs(f"{one.topic}: {one.text}" for one in manifest.cautions), ""]
    if manifest.warnings:
        told = (f"{one.message} ({one.pointer})" for one in manifest.warnings)
        lines += ["Warnings", "--------", *_paragraphs(told), ""]
    if manifest.unplaced:
        lost = (
            " ".join(filter(None, (f"{one.count} x {one.item}:", one.reason, one.remedy))) for one in manifest.unplaced
        )
        lines += ["Without a place", "---------------", *_paragraphs(lost), ""]
    if manifest.changes is not None:
        lines += ["Changes", "-------", *_changed(manifest.changes), ""]
    if printing := list(summary(manifest)):
        lines += ["Printing", "--------", *printing, ""]
    lines += ["Parts", "-----", "All lengths are millimetres. Parts lie as they are printed, without supports.", ""]
    for part in manifest.parts:
        size = " x ".join(f"{length:g}" for length in part.size)
        lines.append(f"{part.quantity:4d} x {part.mark:5s} {part.kind:7s} {size:28s} {part.name}")
    lines += ["", "Drawers", "-------"]
    for drawer in manifest.drawers:
        lines += ["", f"{drawer.name}, {drawer.copies} x"]
        for index, place in enumerate(drawer.placements):
            lines.append(_placed(place))
            lines += [f"           {one.count} x {one.item}" for one in drawer.contents if one.placement == index]
    lines += ["", "Positions are those of a part's front left corner, from the front left corner of the usable area."]
    lines.append(f"Made by {manifest.generator.name} {manifest.generator.version} with {manifest.generator.kernel}.")
    return "\n".join(lines) + "\n"


def _changed(changes: Changes) -> Iterator[str]:
    """Yield what to do with what is printed already."""
    for title, found in (
        ("Print:", changes.new),
        ("Stay where they are:", changes.kept),
        ("No longer needed:", changes.retired),
    ):
        if found:
            yield title
            yield from (f"{one.count:4d} x {one.mark:5s} {one.kind:7s} {one.name}".rstrip() for one in found)
    if changes.moved:
        yield "Move:"
        for one in changes.moved:
            was, now = (f"{stand.drawer}, {stand.at[0]:g}, {stand.at[1]:g}" for stand in (one.before, one.now))
            yield f"{one.count:4d} x {one.mark:5s} {one.kind:7s} from {was} to {now}" + (
                f": {one.name}" if one.name else ""
            )


def _placed(place: PlacementEntry) -> str:
    line = f"     {place.mark:5s} at {place.at[0]:g}, {place.at[1]:g}"
    line += f", turned by {place.turn} degrees" if place.turn else ""
    return f"{line}: {place.name}" if place.name else line


def _paragraphs(texts: Iterator[str]) -> Iterator[str]:
    for text in texts:
        yield textwrap.fill(text, _WIDTH, initial_indent="- ", subsequent_indent="  ")


def _checked(entry: FileEntry, files: Mapping[str, bytes]) -> bytes:
    data = files.get(entry.name)
    if data is None or len(data) != entry.bytes or sha256(data).hexdigest() != entry.sha256:
        raise CheckFailed(
            "A file is not what the manifest says.", value=entry.name, limit=f"{entry.bytes} bytes of {entry.sha256}"
        )
    return data

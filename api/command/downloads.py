"""Downloads: a job's files, each compared with its digest, in a folder."""

import hashlib
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Final

from pydantic import ValidationError

from api.command.client import Client
from worker.jobs.job import BUNDLE_NAME, MANIFEST_NAME
from worker.spec.manifest import FileEntry, Manifest

__all__ = ["DownloadDamaged", "entries", "fetch"]

_PIECE: Final = 1 << 20


class DownloadDamaged(Exception):
    """What arrived is not what the manifest says."""


def entries(manifest: Manifest) -> list[FileEntry]:
    """Return every file that the manifest names, once."""
    named = [file for part in manifest.parts for file in part.files]
    if manifest.bundle is not None:
        named.append(manifest.bundle)
    return list({file.name: file for file in named}.values())


def fetch(
    client: Client, job_id: str, folder: Path, arrived: Callable[[int, int], None]
) -> tuple[Manifest, list[Path]]:
    """Fetch all of a job's files into the folder, the manifest last; return it and the paths.

    ``arrived`` is told how many files of how many are there. Unchanged files of the job that was in the folder before,
    and that this one does not have, are taken away: nobody should print them by mistake.

    Raises:
        DownloadDamaged: when a file's bytes are not those of its digest; the folder keeps what it had by that name.
        OSError: when the folder cannot be written.
    """
    manifest, data, digest = client.manifest(job_id)
    if hashlib.sha256(data).hexdigest() != digest:
        raise DownloadDamaged(f"{MANIFEST_NAME} does not have the digest {digest or '(none)'}.")
    files = entries(manifest)
    folder.mkdir(parents=True, exist_ok=True)
    before = _before(folder)
    for index, file in enumerate(files):
        arrived(index, len(files))
        path = "bundle.zip" if file.name == BUNDLE_NAME else f"files/{file.name}"
        with client.download(f"/v1/jobs/{job_id}/{path}") as pieces:
            _write(folder / file.name, _verified(pieces, file))
    arrived(len(files), len(files))
    _write(folder / MANIFEST_NAME, [data])
    names = {file.name for file in files}
    for file in before:
        path_before = folder / file.name
        if file.name not in names and _digest(path_before) == file.sha256:
            path_before.unlink()
    return manifest, [folder / name for name in (*(file.name for file in files), MANIFEST_NAME)]


def _before(folder: Path) -> list[FileEntry]:
    """Return the files of the job that the folder holds, as its manifest there says."""
    try:
        return entries(Manifest.model_validate_json((folder / MANIFEST_NAME).read_bytes()))
    except (OSError, ValidationError):
        return []


def _verified(pieces: Iterable[bytes], file: FileEntry) -> Iterator[bytes]:
    """Pass the pieces on; raise before the end when they are not the file's."""
    digest, size = hashlib.sha256(), 0
    for piece in pieces:
        digest.update(piece)
        size += len(piece)
        if size > file.bytes:
            break
        yield piece
    if size != file.bytes or digest.hexdigest() != file.sha256:
        raise DownloadDamaged(f"{file.name} arrived damaged: its digest is not the manifest's.")


def _write(path: Path, pieces: Iterable[bytes]) -> None:
    """Write all or nothing."""
    part = path.with_name(f".{path.name}.part")
    try:
        with part.open("wb") as out:
            out.writelines(pieces)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _digest(path: Path) -> str | None:
    digest = hashlib.sha256()
    try:
        with path.open("rb") as data:
            while piece := data.read(_PIECE):
                digest.update(piece)
    except OSError:
        return None
    return digest.hexdigest()

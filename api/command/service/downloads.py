"""Resumable downloads of a job's files into a folder, each verified against its SHA-256 checksum.

An incomplete file is kept beside its target as ``.NAME.CHECKSUM.part`` and resumed by the next download.
"""

import hashlib
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from pydantic import ValidationError

from api.command.service.client import Client, ServiceRefused, ServiceUnreachable
from worker.jobs.records.models import BUNDLE_NAME, MANIFEST_NAME
from worker.spec.manifest import FileEntry, Manifest

__all__ = ["DownloadDamaged", "entries", "fetch", "fetch_file"]

_PIECE: Final = 1 << 20

#: Backoff in seconds before each retry that follows an attempt without progress.
_BACKOFF: Final = (0.2, 0.5, 1.0, 2.0, 4.0, 8.0)

#: Upper limit in seconds of a delay that the service requests with ``Retry-After``.
_MAX_RETRY_AFTER: Final = 60.0

#: Attempts for a file with a wrong checksum: the first may have resumed a damaged ``.part`` file.
_CHECKSUM_ATTEMPTS: Final = 2


class DownloadDamaged(Exception):
    """A downloaded file differs from its checksum."""


def entries(manifest: Manifest) -> list[FileEntry]:
    """Return every file that the manifest names, without duplicates."""
    named = [file for part in manifest.parts for file in part.files]
    named += [document.file for document in manifest.documents]
    if manifest.bundle is not None:
        named.append(manifest.bundle)
    return list({file.name: file for file in named}.values())


def fetch(
    client: Client, job_id: str, folder: Path, arrived: Callable[[int, int], None]
) -> tuple[Manifest, list[Path]]:
    """Download all of a job's files into a folder, the manifest last; return the manifest and the paths.

    ``arrived`` is called with the number of complete files and their total. Files that are present and unchanged are
    skipped. Unmodified files that an earlier job left in the folder and this one does not have are deleted, so that
    nobody prints them by mistake.

    Raises:
        DownloadDamaged: if a file differs from its checksum; an older file of that name is kept.
        ServiceUnreachable: if every retry fails; the incomplete file is kept and resumed later.
        OSError: if the folder cannot be written.
    """
    manifest, data, digest = client.manifest(job_id)
    if hashlib.sha256(data).hexdigest() != digest:
        raise DownloadDamaged(f"{MANIFEST_NAME} does not match its checksum {digest or '(none)'}.")
    files = entries(manifest)
    folder.mkdir(parents=True, exist_ok=True)
    before = _before(folder)
    for index, file in enumerate(files):
        arrived(index, len(files))
        fetch_file(client, job_id, file, folder / file.name)
    arrived(len(files), len(files))
    _write(folder / MANIFEST_NAME, data)
    names = {file.name for file in files}
    for file in before:
        path_before = folder / file.name
        if file.name not in names and _digest(path_before) == file.sha256:
            path_before.unlink()
    return manifest, [folder / name for name in (*(file.name for file in files), MANIFEST_NAME)]


def fetch_file(client: Client, job_id: str, file: FileEntry, path: Path) -> None:
    """Download one file that the manifest names, resuming an earlier attempt.

    Raises:
        DownloadDamaged, ServiceUnreachable, OSError: as above.
    """
    if path.is_file() and path.stat().st_size == file.bytes and _digest(path) == file.sha256:
        return
    source = "bundle.zip" if file.name == BUNDLE_NAME else f"files/{file.name}"
    part = path.with_name(f".{path.name}.{file.sha256[:16]}.part")
    for _ in range(_CHECKSUM_ATTEMPTS):
        _complete(client, f"/v1/jobs/{job_id}/{source}", file, part)
        if _digest(part) == file.sha256:
            part.replace(path)
            return
        part.unlink()
    raise DownloadDamaged(f"{file.name} arrived damaged: its checksum differs from the manifest's.")


def _complete(client: Client, source: str, file: FileEntry, part: Path) -> None:
    """Download the missing rest of a ``.part`` file, retrying with backoff as long as bytes arrive."""
    failures = 0
    while (before := _size(part)) != file.bytes or not part.exists():
        try:
            if _append(client, source, file, part) != file.bytes:
                return  # the service has no more bytes: the checksum decides
        except (ServiceUnreachable, ServiceRefused) as error:
            if isinstance(error, ServiceRefused) and not error.retryable:
                raise
            failures = 0 if _size(part) > before else failures + 1
            if failures > len(_BACKOFF):
                raise
            retry_after = (error.retry_after if isinstance(error, ServiceRefused) else None) or 0.0
            time.sleep(min(_MAX_RETRY_AFTER, max(retry_after, _BACKOFF[max(0, failures - 1)])))


def _append(client: Client, source: str, file: FileEntry, part: Path) -> int:
    """Append to a ``.part`` file from its end on; return its new size in bytes."""
    size = _size(part)
    if size > file.bytes:
        size = 0
    with client.download(source, size, file.sha256) as (start, pieces), part.open("r+b" if size else "wb") as out:
        if start not in (0, size):
            raise DownloadDamaged(f"{file.name} was sent from byte {start}, not from byte {size}.")
        out.seek(start)
        out.truncate()
        for piece in pieces:
            out.write(piece)
            if out.tell() > file.bytes:
                break
        return out.tell()


def _size(part: Path) -> int:
    try:
        return part.stat().st_size
    except FileNotFoundError:
        return 0


def _before(folder: Path) -> list[FileEntry]:
    """Return the files named by the manifest that is in the folder, if there is one."""
    try:
        return entries(Manifest.model_validate_json((folder / MANIFEST_NAME).read_bytes()))
    except (OSError, ValidationError):
        return []


def _write(path: Path, data: bytes) -> None:
    """Write a file atomically."""
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(data)
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

"""Downloads: a job's files, each compared with its digest, in a folder.

What arrived of a file before a connection was lost stays beside it as ``.NAME.DIGEST.part``, and is gone on with.
"""

import hashlib
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from pydantic import ValidationError

from api.command.service.client import Client, ServiceRefused, ServiceUnreachable
from worker.jobs.records.models import BUNDLE_NAME, MANIFEST_NAME
from worker.spec.manifest.manifest import FileEntry, Manifest

__all__ = ["DownloadDamaged", "entries", "fetch", "fetch_file"]

_PIECE: Final = 1 << 20

#: Seconds before each further try after one that brought nothing new.
_PAUSES: Final = (0.2, 0.5, 1.0, 2.0, 4.0, 8.0)

#: Seconds at most that a service may have us wait.
_LONGEST: Final = 60.0

#: Tries for a file whose bytes are wrong: what lay there from before may be to blame.
_DAMAGED: Final = 2


class DownloadDamaged(Exception):
    """What arrived is not what the manifest says."""


def entries(manifest: Manifest) -> list[FileEntry]:
    """Return every file that the manifest names, once."""
    named = [file for part in manifest.parts for file in part.files]
    named += [document.file for document in manifest.documents]
    if manifest.bundle is not None:
        named.append(manifest.bundle)
    return list({file.name: file for file in named}.values())


def fetch(
    client: Client, job_id: str, folder: Path, arrived: Callable[[int, int], None]
) -> tuple[Manifest, list[Path]]:
    """Fetch all of a job's files into the folder, the manifest last; return it and the paths.

    ``arrived`` is told how many files of how many are there. A file that is there already is not fetched again.
    Unchanged files of the job that was in the folder before, and that this one does not have, are taken away: nobody
    should print them by mistake.

    Raises:
        DownloadDamaged: when a file's bytes are not those of its digest; the folder keeps what it had by that name.
        ServiceUnreachable: when the connection is lost again and again; what arrived stays, to be gone on with.
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
    """Fetch one file that the manifest names, from where an earlier try got to.

    Raises:
        DownloadDamaged, ServiceUnreachable, OSError: as above.
    """
    if path.is_file() and path.stat().st_size == file.bytes and _digest(path) == file.sha256:
        return
    source = "bundle.zip" if file.name == BUNDLE_NAME else f"files/{file.name}"
    part = path.with_name(f".{path.name}.{file.sha256[:16]}.part")
    for _ in range(_DAMAGED):
        _complete(client, f"/v1/jobs/{job_id}/{source}", file, part)
        if _digest(part) == file.sha256:
            part.replace(path)
            return
        part.unlink()
    raise DownloadDamaged(f"{file.name} arrived damaged: its digest is not the manifest's.")


def _complete(client: Client, source: str, file: FileEntry, part: Path) -> None:
    """Fetch what is missing of the part, again and again while more arrives."""
    failures = 0
    while (before := _size(part)) != file.bytes or not part.exists():
        try:
            if _append(client, source, file, part) != file.bytes:
                return  # all that there is: the digest will tell
        except (ServiceUnreachable, ServiceRefused) as error:
            if isinstance(error, ServiceRefused) and not error.passing:
                raise
            failures = 0 if _size(part) > before else failures + 1
            if failures > len(_PAUSES):
                raise
            asked = (error.retry_after if isinstance(error, ServiceRefused) else None) or 0.0
            time.sleep(min(_LONGEST, max(asked, _PAUSES[max(0, failures - 1)])))


def _append(client: Client, source: str, file: FileEntry, part: Path) -> int:
    """Fetch from the end of the part on; return its size then."""
    size = _size(part)
    if size > file.bytes:
        size = 0
    with client.download(source, size, file.sha256) as (start, pieces), part.open("r+b" if size else "wb") as out:
        if start not in (0, size):
            raise DownloadDamaged(f"{file.name} arrived in the wrong place.")
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
    """Return the files of the job that the folder holds, as its manifest there says."""
    try:
        return entries(Manifest.model_validate_json((folder / MANIFEST_NAME).read_bytes()))
    except (OSError, ValidationError):
        return []


def _write(path: Path, data: bytes) -> None:
    """Write all or nothing."""
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

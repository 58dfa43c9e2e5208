"""Backup and restore: the database and its files in one archive, also while the service runs.

SQLite's online backup (sqlite.org/backup.html) gives a consistent snapshot. The part cache, which can be rebuilt, and
the state of running processes are left out.
"""

import os
import re
import shutil
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

import orjson

from worker.jobs.common.errors import BlobMissing, SettingsError
from worker.jobs.common.private_files import private_folder
from worker.jobs.common.settings import Settings
from worker.jobs.database.db_clock import utc_now
from worker.jobs.files.object_store import ObjectStore

__all__ = ["BackupSummary", "back_up", "restore"]

_RECORD: Final = "jobs.sqlite3"
_LIST: Final = "backup.json"
_FILES: Final = "files/"
_FORMAT: Final = "1"

#: Tables with caches and the state of processes, which fill again on their own.
_PASSING: Final = ("parts", "part_claims", "leaders", "heartbeats")

#: Columns of tables that refer to stored files.
_NAMING: Final = frozenset({"key", "sha256", "bytes"})

#: Keys of stored files; each segment starts with a letter or digit, so that none leads out of the store.
_KEY: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._#-]*(?:/[A-Za-z0-9][A-Za-z0-9._#-]*)*", re.ASCII)

_PIECE: Final = 1 << 20


@dataclass(frozen=True, slots=True)
class BackupSummary:
    """The contents of an archive."""

    jobs: int
    files: int
    bytes: int


@dataclass(frozen=True, slots=True)
class _Named:
    key: str
    sha256: str
    bytes: int


def back_up(settings: Settings, path: Path, done: Callable[[int, int], None]) -> BackupSummary:
    """Write the archive; ``done`` is called with the number of files written and their total.

    Raises:
        SettingsError: if the file exists, there is no database, or it is not in the data folder.
        BlobMissing: if a stored file is missing or damaged; no archive is left.
        OSError: if the archive cannot be written.
    """
    record = _record_of(settings)
    if not record.is_file():
        raise SettingsError(
            "There is no database to back up.", value=str(record), remedy="Give its folder with --data."
        )
    if path.exists():
        raise SettingsError("The file already exists.", value=str(path), remedy="Choose another name.")
    blobs = ObjectStore.open(settings)
    part = path.with_name(f".{path.name}.part")
    with TemporaryDirectory(prefix=".drawerwright-", dir=path.absolute().parent) as folder:
        snapshot = Path(folder) / _RECORD
        _copy(record, snapshot)
        named, jobs = _named(snapshot)
        try:
            # it contains the digests of API keys and the secrets of webhooks
            descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(descriptor, "wb") as out:
                with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
                    for index, entry in enumerate(named):
                        done(index, len(named))
                        archive.writestr(_FILES + entry.key, _checked(blobs.get(entry.key), entry))
                    done(len(named), len(named))
                    archive.write(snapshot, _RECORD, zipfile.ZIP_DEFLATED)
                    summary = {"format": _FORMAT, "made": utc_now(), "record": _digest(snapshot), "files": len(named)}
                    archive.writestr(_LIST, orjson.dumps(summary, option=orjson.OPT_UTC_Z))
                out.flush()
                os.fsync(out.fileno())
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
    return BackupSummary(jobs, len(named), sum(entry.bytes for entry in named))


def restore(settings: Settings, path: Path, done: Callable[[int, int], None]) -> BackupSummary:
    """Restore an archive into an empty or missing data folder, the database last.

    Raises:
        SettingsError: if the folder is not empty, or the archive is invalid, damaged or incomplete.
        OSError: if the archive or the folder cannot be read or written.
    """
    _record_of(settings)
    folder = settings.data_dir
    if folder.exists() and any(folder.iterdir()):
        remedy = "Give an empty one with --data, or move this one away."
        raise SettingsError("The data folder is not empty.", value=str(folder), remedy=remedy)
    with _opened(path) as archive:
        summary = orjson.loads(archive.read(_LIST))
        if not isinstance(summary, dict) or summary.get("format") != _FORMAT:
            raise SettingsError(
                "A later version of this program made the archive.", value=str(path), remedy="Use that version."
            )
        private_folder(folder)
        try:
            return _put_back(archive, summary.get("record"), settings, done)
        except BaseException:  # leave the folder as empty as it was, for another attempt
            for present in folder.iterdir():
                shutil.rmtree(present) if present.is_dir() else present.unlink()
            raise


def _put_back(
    archive: zipfile.ZipFile, digest: object, settings: Settings, done: Callable[[int, int], None]
) -> BackupSummary:
    record = settings.data_dir / _RECORD
    unfinished = record.with_name(f".{_RECORD}.part")
    with (
        archive.open(_RECORD) as source,
        os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as out,
    ):
        shutil.copyfileobj(source, out, _PIECE)
    if _digest(unfinished) != digest:
        raise SettingsError("The database in the archive is damaged.", value=str(archive.filename))
    named, jobs = _named(unfinished)
    blobs = ObjectStore.open(settings)
    for index, entry in enumerate(named):
        done(index, len(named))
        if not _KEY.fullmatch(entry.key):
            raise SettingsError("The archive has an invalid file name.", value=entry.key)
        try:
            blobs.put(entry.key, _checked(archive.read(_FILES + entry.key), entry))
        except BlobMissing:
            raise SettingsError("A file in the archive is damaged.", value=entry.key) from None
    done(len(named), len(named))
    unfinished.replace(record)
    return BackupSummary(jobs, len(named), sum(entry.bytes for entry in named))


@contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(path) as archive:
            yield archive
    except (zipfile.BadZipFile, KeyError, orjson.JSONDecodeError, EOFError, sqlite3.DatabaseError) as error:
        raise SettingsError(f"The archive is invalid or incomplete: {error}.", value=str(path)) from None


def _record_of(settings: Settings) -> Path:
    if settings.database_url or settings.blob_url:
        raise SettingsError(
            "The database or the files are not in the data folder.",
            limit="a SQLite database and files in the data folder",
            remedy="Back up the database first and then the store, with their own tools.",
        )
    return settings.data_dir / _RECORD


def _copy(record: Path, snapshot: Path) -> None:
    """Copy a consistent snapshot of the database, without the rows that a backup leaves out."""
    with closing(sqlite3.connect(record, timeout=15.0)) as source, closing(sqlite3.connect(snapshot)) as copy:
        source.backup(copy)
        copy.execute("PRAGMA foreign_keys = ON")
        tables = {name for (name,) in copy.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        with copy:
            for table in tables.intersection(_PASSING):
                copy.execute(f"DELETE FROM {table}")  # noqa: S608 - one of the names above
            copy.execute("DELETE FROM jobs WHERE deleted IS NOT NULL")  # their files may be deleted already
        copy.execute("PRAGMA journal_mode = DELETE")  # a single file, without a write-ahead log
        copy.execute("VACUUM")


def _named(snapshot: Path) -> tuple[list[_Named], int]:
    """Return the stored files that any table refers to, and the number of jobs."""
    entries: dict[str, _Named] = {}
    with closing(sqlite3.connect(snapshot)) as copy:
        for (table,) in copy.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
            columns = {row[0] for row in copy.execute("SELECT name FROM pragma_table_info(?)", (table,))}
            if columns >= _NAMING:
                rows = copy.execute(f'SELECT key, sha256, bytes FROM "{table}" ORDER BY key')  # noqa: S608 - its own name
                entries |= {key: _Named(key, digest, size) for key, digest, size in rows}
        (jobs,) = copy.execute("SELECT count(*) FROM jobs").fetchone()
    return list(entries.values()), jobs


def _checked(data: bytes, entry: _Named) -> bytes:
    if len(data) != entry.bytes or sha256(data).hexdigest() != entry.sha256:
        remedy = "Delete the jobs that have it, or restore it from an earlier backup."
        raise BlobMissing("A stored file is damaged.", value=entry.key, remedy=remedy)
    return data


def _digest(path: Path) -> str:
    with path.open("rb") as data:
        digest = sha256()
        while piece := data.read(_PIECE):
            digest.update(piece)
    return digest.hexdigest()

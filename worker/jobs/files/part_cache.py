"""The part cache: built parts by digest, in memory or in the database and the object store."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, Final, Protocol

from pydantic import BaseModel, ConfigDict, ValidationError

from worker.jobs.common.errors import BlobMissing
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.records.jobs import JobRecords
from worker.spec.manifest import STL_TYPE, THREEMF_TYPE, Check, PrintabilityEntry

#: The files of a part: suffix and media type.
MEDIA_TYPES: Final = {"stl": STL_TYPE, "3mf": THREEMF_TYPE}


@dataclass(frozen=True, slots=True)
class PartFile:
    """A file of a part, independent of the mark that a job gives the part."""

    suffix: str
    data: bytes = field(repr=False)
    sha256: str

    @classmethod
    def of(cls, suffix: str, data: bytes) -> "PartFile":
        """Return the file of these bytes."""
        return cls(suffix, data, sha256(data).hexdigest())

    @property
    def media_type(self) -> str:
        """The media type of the file."""
        return MEDIA_TYPES[self.suffix]


@dataclass(frozen=True, slots=True)
class BuiltPart:
    """A part that was built, written, read back and checked. Volume in mm3, area in mm2.

    ``limits`` identifies the limits of its checks: the same shape is checked again for another printer.
    """

    digest: str
    limits: str
    triangles: int
    volume: float
    area: float
    checks: tuple[Check, ...]
    files: tuple[PartFile, ...]
    printability: tuple[PrintabilityEntry, ...] = ()

    def file(self, suffix: str) -> PartFile:
        """Return the file with this suffix.

        Raises:
            KeyError: when there is none.
        """
        for candidate in self.files:
            if candidate.suffix == suffix:
                return candidate
        raise KeyError(suffix)

    def key(self, file: PartFile) -> str:
        """Return the file's key, which contains the checksum, so that other versions of the writer do not collide."""
        return part_key(self.digest, file.suffix, file.sha256)


class PartCache(Protocol):
    """Keeps parts by digest and limits."""

    def find(self, digest: str, limits: str) -> BuiltPart | None:
        """Return the part with verified files, or None."""

    def keep(self, part: BuiltPart) -> None:
        """Keep the part."""


class InMemoryPartCache:
    """A part cache in memory, for notebooks and benchmarks."""

    def __init__(self, parts: Iterable[BuiltPart] = ()) -> None:
        """Create a cache with these parts."""
        self._parts = {(part.digest, part.limits): part for part in parts}

    def find(self, digest: str, limits: str) -> BuiltPart | None:
        """Return the part or None."""
        return self._parts.get((digest, limits))

    def keep(self, part: BuiltPart) -> None:
        """Keep the part."""
        self._parts[part.digest, part.limits] = part


class _FileRecord(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    suffix: str
    sha256: str


class _PartRecord(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    triangles: int
    volume: float
    area: float
    checks: tuple[Check, ...]
    printability: tuple[PrintabilityEntry, ...]
    files: tuple[_FileRecord, ...]


class StoredPartCache:
    """The part cache of the service. Files are stored before the row that refers to them."""

    def __init__(self, records: JobRecords, blobs: ObjectStore) -> None:
        """Use this database and object store."""
        self._records = records
        self._blobs = blobs

    def find(self, digest: str, limits: str) -> BuiltPart | None:
        """Return the part, or None if it was never built, or a file is missing or damaged."""
        document = self._records.part(digest, limits)
        if document is None:
            return None
        try:
            record = _PartRecord.model_validate(document)
            files = [
                PartFile.of(entry.suffix, self._blobs.get(part_key(digest, entry.suffix, entry.sha256)))
                for entry in record.files
            ]
        except (ValidationError, BlobMissing):  # an older format, or a missing file: the part is built again
            return None
        if [file.sha256 for file in files] != [entry.sha256 for entry in record.files]:
            return None
        return BuiltPart(
            digest,
            limits,
            record.triangles,
            record.volume,
            record.area,
            record.checks,
            tuple(files),
            record.printability,
        )

    def keep(self, part: BuiltPart) -> None:
        """Store the part; this repairs missing or damaged files."""
        for file in part.files:
            self._blobs.put(part.key(file), file.data)
        files = tuple(_FileRecord(suffix=file.suffix, sha256=file.sha256) for file in part.files)
        record = _PartRecord(
            triangles=part.triangles,
            volume=part.volume,
            area=part.area,
            checks=part.checks,
            printability=part.printability,
            files=files,
        )
        document: dict[str, Any] = record.model_dump(mode="json")
        self._records.add_part(part.digest, part.limits, document)


def part_key(digest: str, suffix: str, checksum: str) -> str:
    """Return the key of a part's file with this suffix and SHA-256."""
    return f"parts/{digest[:2]}/{digest}/{checksum[:16]}.{suffix}"

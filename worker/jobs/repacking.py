"""Repacking: the files of runs that were packed afresh, written by a worker. Every way in which it can go is here.

A run's number always means the same pieces, so its file is the same whoever writes it, and twice does no harm.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto
from hashlib import sha256
from typing import Final

from obstore.exceptions import BaseError as StoreError
from sqlalchemy.exc import DBAPIError

from worker.jobs.blobs import Blobs
from worker.jobs.job import MANIFEST_NAME, StoredFile, run_file_name
from worker.jobs.prints import Prints
from worker.jobs.records import Records
from worker.output.inspection import require
from worker.output.runs import BedObject, check_run, write_run
from worker.output.stl import read_stl
from worker.output.thumbnail import draw_bed
from worker.solids.mesh import Mesh
from worker.spec import Spec
from worker.spec.errors import BlobMissing, DrawerwrightError, InternalError
from worker.spec.manifest import STL_TYPE, THREEMF_TYPE, Generator, Manifest, RunEntry

__all__ = ["Repacked", "Repacking", "run_file"]

_log = logging.getLogger(__name__)

#: What may go away by itself: the database, the store, the disk.
_PASSING: Final = (DBAPIError, StoreError, OSError)


class Repacked(Enum):
    """How it went."""

    WRITTEN = auto()
    #: Nothing was due, or the job is gone.
    NOTHING = auto()
    FAILED = auto()
    #: The database or the store was away; another message comes.
    PUT_OFF = auto()


@dataclass(frozen=True, slots=True)
class Repacking:
    """What it needs: the record, the store, and how often it is tried."""

    records: Records
    prints: Prints
    blobs: Blobs
    attempts: int = 3

    def repack(self, job_id: str) -> Repacked:
        """Write the files that the job's new runs lack, until no event came in between."""
        outcome = Repacked.NOTHING
        while (status := self.prints.status(job_id)) is not None and status.repack:
            tries = self.prints.attempt(job_id, status.revision)
            if tries is None and status.problem is not None:  # it is not time yet, or an event sent its own message
                return outcome
            if tries is None:
                continue
            if tries > self.attempts:
                lost = InternalError(f"The files of the new runs were begun {self.attempts} times and never ended.")
                self.prints.fail(job_id, status.revision, lost.problem())
                return Repacked.FAILED
            try:
                kept = self._write(job_id, [one.run for one in status.standing.runs if not one.planned])
            except _PASSING:
                _log.warning("Runs of job %s wait for their files.", job_id, exc_info=True)
                return Repacked.PUT_OFF
            except Exception as error:  # noqa: BLE001 - whatever it is, the record says why there is no file
                _log.warning("Runs of job %s: %r", job_id, error, exc_info=error)
                told = error if isinstance(error, DrawerwrightError) else InternalError()
                self.prints.fail(job_id, status.revision, told.problem())
                return Repacked.FAILED
            if not kept:
                return Repacked.NOTHING
            self.prints.written(job_id, status.revision)
            outcome = Repacked.WRITTEN
        return outcome

    def _write(self, job_id: str, runs: list[RunEntry]) -> bool:
        """Store the files that these runs lack, then name them in the record; False when the job is gone."""
        there = {file.name: file for file in self.records.files(job_id)}
        lacking = [run for run in runs if run_file_name(run.number) not in there]
        if not there:
            return False
        if not lacking:
            return True
        manifest = Manifest.model_validate_json(self._read(there, MANIFEST_NAME))
        spec = Spec.model_validate_json(self.prints.spec(job_id))
        meshes = self._meshes(there, manifest, {one.mark for run in lacking for one in run.pieces})
        return self.prints.keep(job_id, [self._put(job_id, run, manifest, spec, meshes) for run in lacking])

    def _put(self, job_id: str, run: RunEntry, manifest: Manifest, spec: Spec, meshes: dict[str, Mesh]) -> StoredFile:
        """Write a run, read it back, check it and store it."""
        name = run_file_name(run.number)
        names = {part.mark: part.name for part in manifest.parts}
        objects = [
            BedObject(
                mesh=meshes[one.mark],
                name=f"{one.mark} {names[one.mark]}".strip(),
                part_number=one.mark,
                colour=run.colour,
                at=one.at,
                turn=one.turn,
                material=run.material,
            )
            for one in run.pieces
        ]
        data = run_file(objects, spec, manifest.generator, name=name, title=f"{manifest.name}, run {run.number}")
        checksum = sha256(data).hexdigest()
        key = f"jobs/{job_id}/{checksum[:16]}-{name}"
        self.blobs.put(key, data)
        return StoredFile(name, THREEMF_TYPE, len(data), checksum, key)

    def _meshes(self, there: dict[str, StoredFile], manifest: Manifest, marks: set[str]) -> dict[str, Mesh]:
        return {
            part.mark: read_stl(self._read(there, file.name))
            for part in manifest.parts
            if part.mark in marks
            for file in part.files
            if file.media_type == STL_TYPE
        }

    def _read(self, there: dict[str, StoredFile], name: str) -> bytes:
        file = there.get(name)
        if file is None:
            raise BlobMissing(value=name)
        data = self.blobs.get(file.key)
        if sha256(data).hexdigest() != file.sha256:
            raise BlobMissing("A stored file is damaged.", value=name)
        return data


def run_file(objects: Sequence[BedObject], spec: Spec, generator: Generator, *, name: str, title: str) -> bytes:
    """Return a run's file, which was read back and passed its checks.

    Raises:
        CheckFailed: when it is not the run.
    """
    kept_off = [(*one.at, *one.size) for one in spec.printer.forbidden]
    picture = draw_bed(objects, (spec.printer.bed[0], spec.printer.bed[1]), kept_off)
    told = {"Application": f"{generator.name} {generator.version}"}
    data = write_run(objects, title=title, metadata=told, thumbnail=picture)
    require(check_run(data, objects, spec.printer, spacing=spec.printing.spacing, subject=name), name)
    return data

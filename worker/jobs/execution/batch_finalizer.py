"""The batch finalizer: writes the print runs and the manifest of a batch when its last job has ended.

The same jobs give the same files, so a retry overwrites the files of a lost attempt.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final

import orjson

from worker.jobs.common.errors import InternalError
from worker.jobs.execution.run_file import bed_object, body_type, read_bodies, write_run_file
from worker.jobs.execution.transient_errors import TaskOutcome, run_guarded
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.stored_files import load_file, store_file
from worker.jobs.records.batches import BATCH_LEASE, Batch, BatchEntry, BatchRecords
from worker.jobs.records.job_document import stored_problem
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import MANIFEST_NAME, StoredFile, entry_folder
from worker.output.meshes.run_package import BedObject
from worker.printing.packing.batch_packer import BatchJob, BatchWork, pack_batch
from worker.solids.mesh import Mesh
from worker.spec import Spec
from worker.spec.manifest import JSON_TYPE, THREEMF_TYPE, Manifest
from worker.spec.manifest.batch_manifest import BatchDrawer, BatchManifest, BatchRun

__all__ = ["BatchFinalizer"]

#: Meshes kept in memory while runs are written.
_MAX_MESHES: Final = 64


@dataclass(frozen=True, slots=True)
class BatchFinalizer:
    """Finalizes batches, in at most ``attempts`` attempts each."""

    records: JobRecords
    batches: BatchRecords
    blobs: ObjectStore
    attempts: int = 3

    def finalize(self, batch_id: str) -> TaskOutcome:
        """Make one attempt at the batch, if it can be claimed."""
        token = self.batches.claim(batch_id, lease_seconds=BATCH_LEASE, attempts=self.attempts)
        if token is None:
            lost = InternalError(f"The manifest was not finished in {self.attempts} attempts.")
            given_up = self.batches.give_up(
                batch_id, lease_seconds=BATCH_LEASE, attempts=self.attempts, problem=stored_problem(lost)
            )
            return TaskOutcome.FAILED if given_up else TaskOutcome.NOT_DUE
        return run_guarded(
            f"Batch {batch_id}",
            partial(self._finalize, batch_id, token),
            release=lambda counted: self.batches.release(batch_id, token, counted=counted),
            fail=partial(self.batches.fail, batch_id, token),
        )

    def _finalize(self, batch_id: str, token: str) -> bool:
        """Store all files and end the batch; False when it was deleted, or the claim no longer holds."""
        batch = self.batches.batch(batch_id)
        return batch is not None and self.batches.finish(batch_id, token, self._files(batch, token))

    def _files(self, batch: Batch, token: str) -> list[StoredFile]:
        """Store the runs and the manifest; return all of them."""
        specs = self.batches.specs(batch.id)
        made: dict[int, _Result] = {}
        for entry in batch.entries:
            if entry.job_id is not None and entry.job_id in specs:
                there = {file.name: file for file in self.records.files(entry.job_id)}
                manifest = Manifest.model_validate_json(load_file(self.blobs, there, MANIFEST_NAME))
                spec = Spec.model_validate_json(specs[entry.job_id])
                made[entry.number] = _Result(BatchJob(entry.number, spec, manifest), there)
        work = pack_batch([result.job for result in made.values()])
        files, folder = [], f"batches/{batch.id}"
        for name, data in self._runs(batch, work, made):
            files.append(store_file(self.blobs, folder, name, THREEMF_TYPE, data))
            self.batches.extend(batch.id, token, lease_seconds=BATCH_LEASE)
        document = _manifest(batch, work, made).model_dump(mode="json")
        data = orjson.dumps(document, option=orjson.OPT_SORT_KEYS | orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE)
        return [*files, store_file(self.blobs, folder, MANIFEST_NAME, JSON_TYPE, data)]

    def _runs(self, batch: Batch, work: BatchWork, made: Mapping[int, "_Result"]) -> Iterator[tuple[str, bytes]]:
        """Yield each run's file with its name."""
        meshes: dict[tuple[int, str], tuple[Mesh, ...]] = {}
        of_run = {number: beds for beds in work.beds for number in beds.runs}
        for run in work.runs:
            first = made[of_run[run.number].entries[0]].job
            if len(meshes) > _MAX_MESHES:
                meshes.clear()
            for piece in run.pieces:
                if (piece.entry, piece.mark) not in meshes:
                    meshes[piece.entry, piece.mark] = made[piece.entry].bodies(self.blobs, piece.mark)
            objects = list(_objects(run, made, meshes))
            title = f"{batch.name}, run {run.number} of {len(work.runs)}"
            name = str(run.file)
            yield name, write_run_file(run, objects, first.spec, first.manifest.generator, name=name, title=title)[0]


@dataclass(frozen=True, slots=True)
class _Result:
    """A job of the batch with its stored files by name."""

    job: BatchJob
    there: dict[str, StoredFile]

    def bodies(self, blobs: ObjectStore, mark: str) -> tuple[Mesh, ...]:
        part = next(part for part in self.job.manifest.parts if part.mark == mark)
        media_type = body_type(self.job.spec)
        name = next(file.name for file in part.files if file.media_type == media_type)
        return read_bodies(media_type, load_file(blobs, self.there, name))

    def name(self, mark: str) -> str:
        return next(part.name for part in self.job.manifest.parts if part.mark == mark)


def _objects(
    run: BatchRun, made: Mapping[int, _Result], meshes: Mapping[tuple[int, str], tuple[Mesh, ...]]
) -> Iterator[BedObject]:
    """Yield the pieces of a run, with the number of their spec before their mark."""
    for piece in run.pieces:
        number, bodies = f"{piece.entry}-{piece.mark}", meshes[piece.entry, piece.mark]
        yield bed_object(run, piece, bodies, number=number, name=made[piece.entry].name(piece.mark))


def _manifest(batch: Batch, work: BatchWork, made: Mapping[int, _Result]) -> BatchManifest:
    manifests = [result.job.manifest for result in made.values()]
    return BatchManifest(
        generator=manifests[0].generator if manifests else None,
        name=batch.name,
        entries=tuple(_drawers(entry, made.get(entry.number)) for entry in batch.entries),
        runs=work.runs,
        beds=work.beds,
        pieces=sum(len(run.pieces) for run in work.runs),
        grams=round(sum(run.grams or 0.0 for run in work.runs), 4),
        seconds=round(sum(run.seconds or 0.0 for run in work.runs), 1),
        purchases=work.purchases,
        cautions=tuple(dict.fromkeys(caution for manifest in manifests for caution in manifest.cautions)),
    )


def _drawers(entry: BatchEntry, made: _Result | None) -> BatchDrawer:
    manifest = None if made is None else made.job.manifest
    return BatchDrawer(
        entry=entry.number,
        name=entry.name,
        state=entry.state,
        job=entry.job_id,
        folder=None if made is None else entry_folder(entry.number, entry.name),
        drawers=() if manifest is None else tuple(drawer.name for drawer in manifest.drawers),
        parts=0 if manifest is None else sum(len(run.pieces) for run in manifest.runs),
        problem=entry.problem,
    )

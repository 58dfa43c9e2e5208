"""Repacking: the files of runs that were packed afresh, written by a worker. Every way in which it can go is here.

A run's number always means the same pieces, so its file is the same whoever writes it, and twice does no harm.
"""

from dataclasses import dataclass
from functools import partial

from worker.jobs.common.errors import InternalError
from worker.jobs.execution.run_file import bed_object, write_run_file
from worker.jobs.execution.transient_errors import TaskOutcome, run_guarded
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.stored_files import load_file, store_file
from worker.jobs.records.job_document import stored_problem
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import MANIFEST_NAME, StoredFile, run_file_name
from worker.jobs.records.print_events import PrintRecords
from worker.output.meshes.stl import read_stl
from worker.solids.mesh import Mesh
from worker.spec import Spec
from worker.spec.manifest import STL_TYPE, THREEMF_TYPE, Manifest, RunEntry

__all__ = ["RunRepacker"]


@dataclass(frozen=True, slots=True)
class RunRepacker:
    """What it needs: the record, the store, and how often it is tried."""

    records: JobRecords
    prints: PrintRecords
    blobs: ObjectStore
    attempts: int = 3

    def repack(self, job_id: str) -> TaskOutcome:
        """Write the files that the job's new runs lack, until no event came in between."""
        outcome = TaskOutcome.NOTHING
        while (status := self.prints.status(job_id)) is not None and status.repack:
            tries = self.prints.attempt(job_id, status.revision)
            if tries is None and status.problem is not None:  # it is not time yet, or an event sent its own message
                return outcome
            if tries is None:
                continue
            if tries > self.attempts:
                lost = InternalError(f"The files of the new runs were begun {self.attempts} times and never ended.")
                self.prints.fail(job_id, status.revision, stored_problem(lost))
                return TaskOutcome.FAILED
            runs = [one.run for one in status.standing.runs if not one.planned]
            went = run_guarded(
                f"New runs of job {job_id}",
                partial(self._write, job_id, runs),
                put_off=lambda: None,
                fail=partial(self.prints.fail, job_id, status.revision),
            )
            if went is not TaskOutcome.DONE:
                return went
            self.prints.written(job_id, status.revision)
            outcome = went
        return outcome

    def _write(self, job_id: str, runs: list[RunEntry]) -> bool:
        """Store the files that these runs lack, then name them in the record; False when the job is gone."""
        there = {file.name: file for file in self.records.files(job_id)}
        lacking = [run for run in runs if run_file_name(run.number) not in there]
        if not there:
            return False
        if not lacking:
            return True
        manifest = Manifest.model_validate_json(load_file(self.blobs, there, MANIFEST_NAME))
        spec = Spec.model_validate_json(self.prints.spec(job_id))
        meshes = self._meshes(there, manifest, {one.mark for run in lacking for one in run.pieces})
        return self.prints.keep(job_id, [self._put(job_id, run, manifest, spec, meshes) for run in lacking])

    def _put(self, job_id: str, run: RunEntry, manifest: Manifest, spec: Spec, meshes: dict[str, Mesh]) -> StoredFile:
        """Write a run, read it back, check it and store it."""
        name = run_file_name(run.number)
        names = {part.mark: part.name for part in manifest.parts}
        objects = [bed_object(run, one, meshes[one.mark], number=one.mark, name=names[one.mark]) for one in run.pieces]
        title = f"{manifest.name}, run {run.number}"
        data, _ = write_run_file(run, objects, spec, manifest.generator, name=name, title=title)
        return store_file(self.blobs, f"jobs/{job_id}", name, THREEMF_TYPE, data)

    def _meshes(self, there: dict[str, StoredFile], manifest: Manifest, marks: set[str]) -> dict[str, Mesh]:
        return {
            part.mark: read_stl(load_file(self.blobs, there, file.name))
            for part in manifest.parts
            if part.mark in marks
            for file in part.files
            if file.media_type == STL_TYPE
        }

"""The run repacker: writes the files of repacked print runs.

A run's number always stands for the same pieces, so writing its file twice is harmless.
"""

from dataclasses import dataclass
from functools import partial
from typing import TypeAlias

from worker.jobs.common.errors import InternalError
from worker.jobs.execution.run_file import bed_object, body_type, read_bodies, write_run_file
from worker.jobs.execution.transient_errors import TaskOutcome, run_guarded
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.stored_files import load_file, store_file
from worker.jobs.records.job_document import stored_problem
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import MANIFEST_NAME, StoredFile, run_file_name
from worker.jobs.records.print_events import PrintRecords
from worker.solids.mesh import Mesh
from worker.spec import Spec
from worker.spec.manifest import THREEMF_TYPE, Manifest, RunEntry

__all__ = ["RunRepacker"]

#: The bodies of parts by their marks.
_Bodies: TypeAlias = dict[str, tuple[Mesh, ...]]


@dataclass(frozen=True, slots=True)
class RunRepacker:
    """Writes files of repacked runs, in at most ``attempts`` attempts before a backoff."""

    records: JobRecords
    prints: PrintRecords
    blobs: ObjectStore
    attempts: int = 3

    def repack(self, job_id: str) -> TaskOutcome:
        """Write the missing files of the job's repacked runs; repeat while new print events arrive."""
        outcome = TaskOutcome.NOT_DUE
        while (status := self.prints.status(job_id)) is not None and status.repack:
            attempt = self.prints.attempt(job_id, status.revision)
            if (
                attempt is None and status.problem is not None
            ):  # the backoff is not over, or a newer event has published it
                return outcome
            if attempt is None:
                continue
            if attempt > self.attempts:
                lost = InternalError(f"The files of the repacked runs were not finished in {self.attempts} attempts.")
                self.prints.fail(job_id, status.revision, stored_problem(lost))
                return TaskOutcome.FAILED
            runs = [record.run for record in status.state.runs if not record.planned]
            outcome = run_guarded(
                f"Repacked runs of job {job_id}",
                partial(self._write, job_id, runs),
                release=lambda _: None,
                fail=partial(self.prints.fail, job_id, status.revision),
            )
            if outcome is not TaskOutcome.DONE:
                return outcome
            self.prints.written(job_id, status.revision)
        return outcome

    def _write(self, job_id: str, runs: list[RunEntry]) -> bool:
        """Store the missing files of these runs, then record them; return False if the job was deleted."""
        there = {file.name: file for file in self.records.files(job_id)}
        lacking = [run for run in runs if run_file_name(run.number) not in there]
        if not there:
            return False
        if not lacking:
            return True
        manifest = Manifest.model_validate_json(load_file(self.blobs, there, MANIFEST_NAME))
        spec = Spec.model_validate_json(self.prints.spec(job_id))
        meshes = self._meshes(there, manifest, body_type(spec), {piece.mark for run in lacking for piece in run.pieces})
        return self.prints.keep(job_id, [self._put(job_id, run, manifest, spec, meshes) for run in lacking])

    def _put(self, job_id: str, run: RunEntry, manifest: Manifest, spec: Spec, meshes: _Bodies) -> StoredFile:
        """Write a run, read it back, check it and store it."""
        name = run_file_name(run.number)
        names = {part.mark: part.name for part in manifest.parts}
        objects = [
            bed_object(run, piece, meshes[piece.mark], number=piece.mark, name=names[piece.mark])
            for piece in run.pieces
        ]
        title = f"{manifest.name}, run {run.number}"
        data, _ = write_run_file(run, objects, spec, manifest.generator, name=name, title=title)
        return store_file(self.blobs, f"jobs/{job_id}", name, THREEMF_TYPE, data)

    def _meshes(self, there: dict[str, StoredFile], manifest: Manifest, media_type: str, marks: set[str]) -> _Bodies:
        return {
            part.mark: read_bodies(media_type, load_file(self.blobs, there, file.name))
            for part in manifest.parts
            if part.mark in marks
            for file in part.files
            if file.media_type == media_type
        }

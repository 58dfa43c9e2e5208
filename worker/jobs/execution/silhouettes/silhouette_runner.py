"""The silhouette runner: reads the uploaded files of a silhouette and records its outline."""

from dataclasses import dataclass
from functools import partial
from typing import Any

import orjson

from worker.jobs.common.errors import InternalError
from worker.jobs.execution.silhouettes.reader_process import RawReading, read_in_process
from worker.jobs.execution.transient_errors import TaskOutcome, run_guarded
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.stored_files import store_file
from worker.jobs.files.verified_read import read_verified
from worker.jobs.records.job_document import stored_problem
from worker.jobs.records.models import StoredFile
from worker.jobs.records.silhouettes import SilhouetteRecords, StoredSilhouette
from worker.silhouettes.file_format import FORMATS, FileFormat
from worker.silhouettes.picture_names import OVERLAY_NAME, RECTIFIED_NAME, photo_name

__all__ = ["SilhouetteRunner"]


@dataclass(frozen=True, slots=True)
class SilhouetteRunner:
    """Reads silhouettes, in at most ``attempts`` attempts each."""

    silhouettes: SilhouetteRecords
    blobs: ObjectStore
    attempts: int = 3

    def run(self, silhouette_id: str) -> TaskOutcome:
        """Make one attempt at the silhouette, if it can be claimed."""
        token = self.silhouettes.claim(silhouette_id, attempts=self.attempts)
        if token is None:
            lost = InternalError(f"The files were not read in {self.attempts} attempts.")
            given_up = self.silhouettes.give_up(silhouette_id, attempts=self.attempts, problem=stored_problem(lost))
            return TaskOutcome.FAILED if given_up else TaskOutcome.NOT_DUE
        silhouette = self.silhouettes.find(silhouette_id, None)
        return run_guarded(
            f"Silhouette {silhouette_id}",
            partial(self._read, silhouette, token),
            release=lambda counted: self.silhouettes.release(silhouette_id, token, counted=counted),
            fail=partial(self._fail, silhouette, token),
        )

    def _read(self, silhouette: StoredSilhouette, token: str) -> bool:
        files = [(_format(file), read_verified(self.blobs, file)) for file in silhouette.files]
        request: dict[str, Any] = orjson.loads(silhouette.request)
        reading = read_in_process(files, request)
        kept = [*self._kept(silhouette), *self._pictures(silhouette, reading)]
        if not self.silhouettes.finish(silhouette.id, token, reading.document, kept):
            return False
        self._delete_others(silhouette, kept)
        return True

    def _fail(self, silhouette: StoredSilhouette, token: str, problem: dict[str, Any]) -> bool:
        kept = self._kept(silhouette)
        if not self.silhouettes.fail(silhouette.id, token, problem, kept):
            return False
        self._delete_others(silhouette, kept)
        return True

    def _kept(self, silhouette: StoredSilhouette) -> list[StoredFile]:
        """Return the uploaded files that are to stay: all or none. Photos may say where and by whom they were taken."""
        keep = silhouette.kind != "photo" and orjson.loads(silhouette.request).get("keep")
        return list(silhouette.files) if keep else []

    def _pictures(self, silhouette: StoredSilhouette, reading: RawReading) -> list[StoredFile]:
        """Store the pictures of a reading: no others than a reader gives, whatever its process answers."""
        names = {OVERLAY_NAME: "image/png", RECTIFIED_NAME: "image/png"}
        names |= {photo_name(number): "image/jpeg" for number in range(1, len(silhouette.files) + 1)}
        return [
            store_file(self.blobs, f"silhouettes/{silhouette.id}", name, media_type, reading.pictures[name])
            for name, media_type in names.items()
            if name in reading.pictures
        ]

    def _delete_others(self, silhouette: StoredSilhouette, kept: list[StoredFile]) -> None:
        """Delete the uploads that no row names any more; what an interruption leaves, the orphan sweep deletes."""
        for key in {file.key for file in silhouette.files} - {file.key for file in kept}:
            self.blobs.delete(key)


def _format(file: StoredFile) -> FileFormat:
    return FORMATS[file.name.rpartition(".")[2]]

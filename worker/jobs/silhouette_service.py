"""Silhouettes as callers see them: submitted, followed, corrected by hand, drawn and deleted.

Files are stored before the row that names them. Nothing of a picture but its file is kept, and that only on request.
"""

import logging
import re
from collections.abc import Sequence
from hashlib import sha256
from typing import TYPE_CHECKING, Any, Final

from obstore.exceptions import BaseError as StoreError
from sqlalchemy import Engine

from worker.jobs.common.errors import BrokerUnavailable, SilhouetteNotFound, SilhouetteNotReady, SilhouetteRefused
from worker.jobs.common.ids import ID_PATTERN, new_id
from worker.jobs.common.principal import LOCAL, Principal
from worker.jobs.common.settings import Settings
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.stored_files import store_file
from worker.jobs.files.verified_read import read_verified
from worker.jobs.maintenance.job_deletion import JobDeletion
from worker.jobs.queue.dispatcher import Dispatcher
from worker.jobs.records.idempotency import IdempotencyKey
from worker.jobs.records.silhouettes import NewSilhouette, SilhouetteRecords, StoredSilhouette
from worker.silhouettes.file_format import FileFormat, format_of
from worker.silhouettes.outline_drawing import draw_outline
from worker.silhouettes.picture_names import OVERLAY_NAME, RECTIFIED_NAME
from worker.silhouettes.source_files import check_files
from worker.spec.requests.silhouette import OutlineRequest, PolygonRequest, SilhouetteRequest

if TYPE_CHECKING:
    from worker.silhouettes.silhouette import Method

__all__ = ["MOST_FILES", "SilhouetteService"]

_log = logging.getLogger(__name__)

#: Files of one silhouette: two photos from opposite sides.
MOST_FILES: Final = 2

_IDENTITY: Final = re.compile(ID_PATTERN)


class SilhouetteService:
    """Silhouettes of all owners. Thread-safe."""

    def __init__(self, settings: Settings, database: Engine, blobs: ObjectStore, dispatcher: Dispatcher) -> None:
        """Use this database and object store, and publish through this dispatcher."""
        self._settings = settings
        self._blobs = blobs
        self._dispatcher = dispatcher
        self._deletion = JobDeletion(database, blobs)
        self.records = SilhouetteRecords(database, settings.public_url)

    def submit(
        self, caller: Principal, request: SilhouetteRequest, files: Sequence[tuple[str, bytes]], key: str | None = None
    ) -> StoredSilhouette:
        """Store files, given by name and content, and queue the reading of their silhouette.

        Raises:
            SilhouetteError: if a file is of no known kind, or lacks a field that its kind needs, or two do not belong
                together.
            SilhouetteRefused: if there are too many files.
            QuotaReached, RequestRepeated: nothing was added.
        """
        if not 1 <= len(files) <= MOST_FILES:
            raise SilhouetteRefused(
                "There must be one file, or two photos.", value=len(files), limit=f"1 to {MOST_FILES} files",
                remedy="Send the file as the part `file` of a multipart/form-data body.",
            )  # fmt: skip
        formats = [format_of(name, content) for name, content in files]
        kind = check_files(formats, request)
        silhouette_id, text = new_id(), request.model_dump_json(exclude_unset=True)
        digests = [sha256(content).hexdigest() for _, content in files]
        repeat = None if key is None else IdempotencyKey.of(key, "silhouette", text, *formats, *digests)
        folder = f"silhouettes/{silhouette_id}"
        stored = tuple(
            store_file(self._blobs, folder, f"source-{number}.{file_format}", _media_type(file_format), content)
            for number, (file_format, (_, content)) in enumerate(zip(formats, files, strict=True), start=1)
        )
        made = NewSilhouette(silhouette_id, request.name or kind, kind, text, request.tags, stored)
        return self._add(made, caller, repeat)

    def add_polygon(self, caller: Principal, request: PolygonRequest, key: str | None = None) -> StoredSilhouette:
        """Add a silhouette that is given as corners.

        Raises:
            SilhouetteError: if they are no outline.
            QuotaReached, RequestRepeated: nothing was added.
        """
        text = request.model_dump_json(exclude_unset=True)
        repeat = None if key is None else IdempotencyKey.of(key, "polygon", text)
        result = {"outline": _outline(request, "points", request.uncertainty, request.depth), "poses": []}
        made = NewSilhouette(new_id(), request.name or "points", "points", "{}", request.tags, result=result)
        return self._add(made, caller, repeat)

    def find(self, caller: Principal, silhouette_id: str) -> StoredSilhouette:
        """Return a silhouette.

        Raises:
            SilhouetteNotFound: if it does not exist, or has another owner.
        """
        if not _IDENTITY.fullmatch(silhouette_id):
            raise SilhouetteNotFound(value=silhouette_id)
        return self.records.find(silhouette_id, caller.sees)

    def correct(
        self, caller: Principal, silhouette_id: str, request: OutlineRequest, revision: int | None = None
    ) -> StoredSilhouette:
        """Replace the outline of a silhouette by one that a person corrected; without a depth it keeps its own.

        Raises:
            SilhouetteNotFound: if it does not exist, or has another owner.
            SilhouetteNotReady: if it has not been read yet.
            SilhouetteError: if the corners are no outline.
            PreconditionFailed: if ``revision`` is given and is not its current one.
        """
        silhouette = self.find(caller, silhouette_id)
        before: dict[str, Any] = (silhouette.result or {}).get("outline") or {}
        depth = request.depth if request.depth is not None else before.get("depth")
        outline = _outline(request, silhouette.kind, float(before.get("uncertainty", 0.0)), depth)
        return self.records.correct(silhouette_id, caller.sees, outline, revision)

    def drawing(self, caller: Principal, silhouette_id: str) -> tuple[StoredSilhouette, str]:
        """Return a silhouette with its outline as SVG.

        Raises:
            SilhouetteNotFound: if it does not exist, or has another owner.
            SilhouetteNotReady: if it has no outline.
        """
        silhouette = self.find(caller, silhouette_id)
        if silhouette.result is None:
            raise SilhouetteNotReady(value=silhouette.state, limit="succeeded")
        return silhouette, draw_outline(silhouette.result["outline"], silhouette.name)

    def overlay(self, caller: Principal, silhouette_id: str, *, lines: bool = True) -> bytes:
        """Return the picture (PNG) of the outline over the rectified photo, or of the photo without ``lines``.

        Raises:
            SilhouetteNotFound: if it does not exist, or has another owner.
            SilhouetteNotReady: if there is no such picture.
            BlobMissing: if its file is missing or damaged.
        """
        silhouette = self.find(caller, silhouette_id)
        file = silhouette.file(OVERLAY_NAME if lines else RECTIFIED_NAME)
        if file is None:
            raise SilhouetteNotReady(
                "The silhouette has no picture.", value=silhouette.state, limit="one that was read from a photo",
                remedy=f"Its outline is drawn at /v1/silhouettes/{silhouette_id}/outline.svg.",
            )  # fmt: skip
        return read_verified(self._blobs, file)

    def remove(self, caller: Principal, silhouette_id: str, revision: int | None = None) -> None:
        """Delete a silhouette with its files; a worker that is reading it stops without a result.

        Raises:
            SilhouetteNotFound: if it does not exist, or has another owner.
            HouseholdConflict: if a thing names it.
            PreconditionFailed: if ``revision`` is given and is not its current one.
        """
        self.find(caller, silhouette_id)
        self.records.remove(silhouette_id, caller.sees, revision)
        self._sweep(silhouette_id)

    def _add(self, made: NewSilhouette, caller: Principal, repeat: IdempotencyKey | None) -> StoredSilhouette:
        quotas = None if caller is LOCAL else caller.quotas.with_defaults(self._settings)
        try:
            silhouette_id = self.records.add(made, owner=caller.owner, quotas=quotas, repeat=repeat)
        except BaseException:
            self._sweep(made.id)
            raise
        if silhouette_id != made.id:  # the request was repeated
            self._sweep(made.id)
        elif made.result is None:
            try:
                self._dispatcher.publish_silhouettes([silhouette_id])
            except BrokerUnavailable as error:
                _log.warning("Silhouette %s waits for the broker: %s", silhouette_id, error)
        return self.records.find(silhouette_id, caller.sees)

    def _sweep(self, silhouette_id: str) -> None:
        try:
            self._deletion.sweep_silhouette(silhouette_id)
        except (StoreError, OSError):
            _log.warning("Files of silhouette %s are left to the orphan sweep.", silhouette_id, exc_info=True)


def _outline(request: OutlineRequest, method: "Method", uncertainty: float, depth: float | None) -> dict[str, Any]:
    import shapely  # noqa: PLC0415 - a service at rest loads no geometry

    from worker.silhouettes.corners import outline_document  # noqa: PLC0415 - as above
    from worker.silhouettes.silhouette import Silhouette  # noqa: PLC0415 - as above

    polygon = shapely.Polygon(request.points, request.holes)
    return outline_document(Silhouette.of_polygon(polygon, method=method, uncertainty=uncertainty, depth=depth))


def _media_type(file_format: FileFormat) -> str:
    types = {
        "svg": "image/svg+xml", "dxf": "image/vnd.dxf", "stl": "model/stl", "3mf": "model/3mf", "obj": "model/obj"
    }  # fmt: skip
    return types.get(file_format, f"image/{file_format}")

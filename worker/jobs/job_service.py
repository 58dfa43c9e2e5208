"""The job service: submits, reads, cancels and deletes jobs and batches, and serves their files.

It is the only interface of the API to jobs, and imports nothing that builds a mesh.
"""

import copy
import logging
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any, Final, Self

from obstore.exceptions import BaseError as StoreError
from sqlalchemy import Engine as Database
from sqlalchemy.exc import SQLAlchemyError

from worker.jobs.common.errors import (
    BatchNotFound,
    BatchNotReady,
    BrokerUnavailable,
    FileNotInJob,
    JobFinished,
    JobNotEnded,
    JobNotFailed,
    JobNotFound,
    JobNotReady,
    PreconditionFailed,
    SettingsError,
)
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.common.principal import LOCAL, Principal
from worker.jobs.common.private_files import private_folder
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.files.batch_archive import BatchArchive, BatchArchives
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.verified_read import stream_verified
from worker.jobs.household.household import Household
from worker.jobs.maintenance.job_deletion import JobDeletion
from worker.jobs.maintenance.scheduler import MaintenanceScheduler
from worker.jobs.observability.tracing import span
from worker.jobs.queue.celery_app import make_app
from worker.jobs.queue.dispatcher import Dispatcher
from worker.jobs.records.api_keys import ApiKeys
from worker.jobs.records.batch_summary import BatchSummary
from worker.jobs.records.batches import Batch, BatchFilters, BatchRecords, CheckedSpec
from worker.jobs.records.heartbeats import Heartbeats
from worker.jobs.records.idempotency import IdempotencyKey
from worker.jobs.records.job_filters import JobFilters
from worker.jobs.records.job_retry import retry_job
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import BUNDLE_NAME, MANIFEST_NAME, Job, StoredFile
from worker.jobs.records.print_events import PrintRecords
from worker.jobs.records.quotas import expected_bytes
from worker.jobs.records.row_mapping import tags_text
from worker.jobs.records.silhouettes import SilhouetteRecords
from worker.jobs.records.webhooks.deliveries import DeliveryLog
from worker.jobs.records.webhooks.endpoints import WebhookEndpoints
from worker.jobs.silhouette_service import SilhouetteService
from worker.jobs.webhooks.delivery import WebhookDelivery
from worker.jobs.webhooks.ip_policy import read_networks
from worker.jobs.webhooks.safe_http_client import SafeHttpClient, read_ports
from worker.spec import Spec
from worker.spec.limits import check_cells
from worker.spec.requests.job_patch import JobPatch

__all__ = ["JobService"]

_log = logging.getLogger(__name__)

#: The form of an id from `new_id`; anything else needs no query.
_IDENTITY: Final = re.compile(ID_PATTERN)

#: Maximum number of jobs in one listing.
_MOST: Final = 200


class JobService:
    """Jobs and batches as one principal sees them. Thread-safe.

    It acts for one principal, initially the local one, who sees all jobs (`on_behalf_of` changes that). Jobs of other
    owners are reported as not found.
    """

    def __init__(self, settings: Settings, database: Database, blobs: ObjectStore) -> None:
        """Use this database and object store; `open` takes both from the settings."""
        self.settings = settings
        self._database = database
        self._records = JobRecords(database, settings.public_url)
        self._blobs = blobs
        self._archives = BatchArchives(blobs)
        self._app = make_app(settings, "send")
        self._deletion = JobDeletion(database, blobs)
        self._caller = LOCAL
        self.keys = ApiKeys(database)
        self.batches = BatchRecords(database, settings.public_url)
        self.prints = PrintRecords(database, settings.public_url)
        self.household = Household(database)
        self.dispatcher = Dispatcher(
            settings,
            self._app,
            records=self._records,
            prints=self.prints,
            batches=self.batches,
            silhouettes=SilhouetteRecords(database),
        )
        self.silhouettes = SilhouetteService(settings, database, blobs, self.dispatcher)
        self._maintenance = MaintenanceScheduler(settings, database, blobs, self.dispatcher.republish)
        self.webhooks = WebhookEndpoints(database)
        self.deliveries = DeliveryLog(database)
        self.heartbeats = Heartbeats(database)
        self.http_client = SafeHttpClient(read_networks(settings.webhook_networks), read_ports(settings.webhook_ports))

    @classmethod
    def open(cls, settings: Settings) -> "JobService":
        """Open the database and the object store of the settings. The broker is not needed yet.

        Raises:
            SettingsError: if one of them cannot be opened.
        """
        try:
            private_folder(settings.data_dir)
        except OSError as error:
            raise SettingsError("The data folder cannot be created.", value=str(settings.data_dir)) from error
        return cls(settings, open_database(settings.database, durable=True), ObjectStore.open(settings))

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close."""
        self.close()

    def close(self) -> None:
        """Close all connections."""
        self.dispatcher.close()
        self._maintenance.resign()
        self._app.close()
        self._database.dispose()

    def on_behalf_of(self, caller: Principal) -> "JobService":
        """Return this service for another principal; it shares all connections and must not be closed itself."""
        if caller is self._caller:
            return self
        seen = copy.copy(self)
        seen._caller = caller  # noqa: SLF001 - its own copy
        return seen

    def webhook_delivery(self) -> WebhookDelivery:
        """Return the webhook delivery of this database, not started."""
        return WebhookDelivery(self._database, self.http_client)

    def submit(self, spec: Spec, *, webhooks: Sequence[str] = (), key: str | None = None) -> Job:
        """Add a job and publish it; without a broker the dispatcher publishes it later.

        A request that is repeated with its idempotency key returns the job that it created.

        Raises:
            WebhookNotFound: if the caller does not own one of the webhooks.
            SpecTooLarge: if it has more cells than the caller's quota.
            QuotaReached: if a quota of the caller is used up.
            RequestRepeated: if another request of the caller had this idempotency key.
            JobNotFound: if the job that this request created was deleted.
        """
        caller = self._caller
        quotas = None if caller is LOCAL else caller.quotas.with_defaults(self.settings)
        self.check_cells(spec)
        text = spec.to_json()
        repeat = None if key is None else IdempotencyKey.of(key, "job", text, *webhooks)
        job = self._records.add(spec.name, text, owner=caller.owner, quotas=quotas, webhooks=webhooks, repeat=repeat,
            expected_bytes=expected_bytes(spec))  # fmt: skip
        with span("submit", {"drawerwright.job": job.id}):
            self.publish(job.id)
        return job

    def job(self, job_id: str) -> Job:
        """Return the job.

        Raises:
            JobNotFound: if it does not exist, or has another owner.
        """
        job = self._records.job(job_id, owner=self._caller.sees) if _IDENTITY.fullmatch(job_id) else None
        if job is None:
            raise JobNotFound(value=job_id)
        return job

    def spec(self, job_id: str) -> str:
        """Return the spec of the job as JSON.

        Raises:
            JobNotFound: if it does not exist, or has another owner.
        """
        return self.prints.spec(self.job(job_id).id)

    def jobs(self, *, limit: int = 50, after: str | None = None, filters: JobFilters | None = None) -> list[Job]:
        """Return up to 200 jobs, newest first; ``after`` is the id of the last job of the previous page."""
        return self._records.jobs(max(0, min(limit, _MOST)), after, owner=self._caller.sees, filters=filters)

    def revisions(self, job_ids: Iterable[str]) -> dict[str, int]:
        """Return the revision of each of these jobs that exists, whoever owns it."""
        return self._records.revisions(job_ids)

    def changed_since(self, moment: datetime, limit: int = _MOST) -> list[Job]:
        """Return jobs that changed at or after this time, in the order of their last change."""
        return self._records.changed_since(moment, limit, owner=self._caller.sees)

    def cancel(self, job_id: str, *, revision: int | None = None) -> Job:
        """Cancel the job, if it still has this revision; a worker that runs it stops before the next part.

        Raises:
            PreconditionFailed: if it has another revision.
            JobNotFound: if it does not exist.
            JobFinished: if it has already ended.
        """
        job = self.job(job_id)
        if not self._records.cancel(job_id, revision=revision):
            job = self._unchanged(job_id, revision)
            remedy = f"To remove it with its files: DELETE /v1/jobs/{job_id}/files."
            raise JobFinished(value=job.state, limit="a job that is queued or running", remedy=remedy)
        return self.job(job_id)

    def change(self, job_id: str, patch: JobPatch, *, revision: int | None = None) -> Job:
        """Change the job's name, notes or tags.

        Raises:
            JobNotFound: if it does not exist.
            PreconditionFailed: if ``revision`` is given, and the job has another one.
        """
        values: dict[str, Any] = {} if patch.name is None else {"name": patch.name}
        values |= {} if patch.notes is None else {"notes": patch.notes or None}
        values |= {} if patch.tags is None else {"tags": tags_text(patch.tags)}
        job = self.job(job_id)
        if values and not self._records.change(job_id, values, revision=revision):
            self._unchanged(job_id, revision)
        return self.job(job_id) if values else job

    def retry(self, job_id: str, *, revision: int | None = None) -> Job:
        """Queue a failed job again, with its full number of attempts, and publish it as `submit` does.

        Raises:
            PreconditionFailed: if ``revision`` is given, and the job has another one.
            JobNotFound: if it does not exist.
            JobNotFailed: if it has not failed.
            QuotaReached: if a quota of the caller is used up.
        """
        job = self.job(job_id)
        quotas = None if self._caller is LOCAL else self._caller.quotas.with_defaults(self.settings)
        if not retry_job(self._database, job_id, quotas=quotas, revision=revision):
            job = self._unchanged(job_id, revision)
            remedy = None if not job.ended else "Submit its spec again as a new job: POST /v1/jobs."
            raise JobNotFailed(value=job.state, limit="a job that has failed", remedy=remedy)
        self.publish(job_id)
        return self.job(job_id)

    def remove(self, job_id: str, *, revision: int | None = None) -> None:
        """Delete an ended job with its files; parts that are shared with other jobs stay.

        Raises:
            PreconditionFailed: if ``revision`` is given, and the job has another one.
            JobNotFound: if it does not exist.
            JobNotEnded: if it is queued or running.
        """
        job = self.job(job_id)
        if not self._deletion.mark(job_id, revision=revision):
            job = self._unchanged(job_id, revision)
            raise JobNotEnded(value=job.state, limit="a job that has ended", remedy="Cancel it first.")
        try:
            self._deletion.sweep(job_id)
        except (SQLAlchemyError, StoreError, OSError):  # the job is already invisible; a later sweep deletes the rest
            _log.warning("Files of deleted job %s are left to the next sweep.", job_id, exc_info=True)

    def manifest(self, job_id: str) -> StoredFile:
        """Return the manifest.

        Raises:
            JobNotFound: if it does not exist.
            JobNotReady: if it has not succeeded.
        """
        return self.file(job_id, MANIFEST_NAME)

    def bundle(self, job_id: str) -> StoredFile:
        """Return the archive of all files.

        Raises:
            JobNotFound: if it does not exist.
            JobNotReady: if it has not succeeded.
        """
        return self.file(job_id, BUNDLE_NAME)

    def files(self, job_id: str) -> list[StoredFile]:
        """Return all files by name, manifest and bundle among them.

        Raises:
            JobNotFound: if it does not exist.
            JobNotReady: if it has not succeeded.
        """
        self._ready(job_id)
        return self._records.files(job_id)

    def file(self, job_id: str, name: str) -> StoredFile:
        """Return one file.

        Raises:
            JobNotFound: if it does not exist.
            JobNotReady: if it has not succeeded.
            FileNotInJob: if it has no such file.
        """
        file = self._records.file(job_id, name, owner=self._caller.sees) if _IDENTITY.fullmatch(job_id) else None
        if file is None:
            self._ready(job_id)
            raise FileNotInJob(value=name)
        return file

    def read(self, file: StoredFile, start: int = 0, end: int | None = None) -> Iterator[bytes]:
        """Return the file's bytes from ``start`` up to ``end`` in chunks; the store is queried immediately.

        A damaged file is never served whole: for a large one the error comes before the last chunk.

        Raises:
            BlobMissing: if the file is missing or damaged.
        """
        return stream_verified(self._blobs, file, start, file.bytes if end is None else min(end, file.bytes))

    def run_maintenance(self) -> int | None:
        """Do due maintenance if this process is the leader; return the number of republished jobs, otherwise None.

        Raises:
            BrokerUnavailable: if the broker does not respond; all other maintenance was done.
        """
        return self._maintenance.run()

    def away(self) -> list[str]:
        """Return which of broker, store and worker are unavailable; jobs are accepted all the same."""
        away = []
        if not self.dispatcher.answers():
            away.append("broker")
        try:
            self._blobs.check()
        except (StoreError, OSError):
            away.append("store")
        if not self.heartbeats.worker_seen():
            away.append("worker")
        return away

    def publish(self, job_id: str) -> None:
        """Publish this job to the workers; without a broker the dispatcher publishes it later."""
        self.dispatcher.publisher.publish(job_id)

    def publish_resumed(self, job_id: str) -> None:
        """Publish a job that a worker released, with priority over queued ones."""
        try:
            self.dispatcher.publish_jobs([job_id], resumed=True)
        except BrokerUnavailable as error:
            _log.warning("Job %s waits for the broker: %s", job_id, error)

    def publish_repack(self, job_id: str) -> None:
        """Publish the writing of the job's new run files; without a broker the dispatcher publishes it later."""
        try:
            self.dispatcher.publish_repacks([job_id])
        except BrokerUnavailable as error:
            _log.warning("New runs of job %s wait for the broker: %s", job_id, error)

    def submit_batch(
        self, name: str, specs: Sequence[CheckedSpec], *, webhooks: Sequence[str] = (), key: str | None = None
    ) -> Batch:
        """Add a batch with a job for each valid spec and publish these, as `submit` does.

        Raises:
            WebhookNotFound, QuotaReached, RequestRepeated: as `submit`; nothing was added.
            BatchNotFound: if the batch that this request created was deleted.
        """
        caller = self._caller
        quotas = None if caller is LOCAL else caller.quotas.with_defaults(self.settings)
        texts = (spec.text or f"{spec.name} {spec.problem}" for spec in specs)
        repeat = None if key is None else IdempotencyKey.of(key, "batch", name, *webhooks, *texts)
        batch_id, jobs = self.batches.add(
            name, specs, owner=caller.owner, quotas=quotas, webhooks=webhooks, repeat=repeat
        )
        try:
            self.dispatcher.publish_jobs(jobs)
        except BrokerUnavailable as error:
            _log.warning("Jobs of batch %s wait for the broker: %s", batch_id, error)
        return self.batch(batch_id)

    def check_cells(self, spec: Spec) -> None:
        """Check the spec against the caller's quota of cells.

        Raises:
            SpecTooLarge: if it has more cells.
        """
        if self._caller is not LOCAL:
            check_cells(spec, self._caller.quotas.with_defaults(self.settings).cells or self.settings.most_cells)

    def batch(self, batch_id: str) -> Batch:
        """Return the batch.

        Raises:
            BatchNotFound: if it does not exist, or has another owner.
        """
        is_id = _IDENTITY.fullmatch(batch_id)
        batch = self.batches.batch(batch_id, owner=self._caller.sees) if is_id else None
        if batch is None:
            raise BatchNotFound(value=batch_id)
        return batch

    def list_batches(
        self, *, limit: int = 50, after: str | None = None, filters: BatchFilters | None = None
    ) -> list[BatchSummary]:
        """Return up to 200 batches, newest first; ``after`` is the id of the last batch of the previous page."""
        return self.batches.latest(max(0, min(limit, _MOST)), after, owner=self._caller.sees, filters=filters)

    def batches_ended_since(self, moment: datetime, limit: int = _MOST) -> list[BatchSummary]:
        """Return batches that ended at or after this time, the earliest first."""
        return self.batches.ended_since(moment, limit, owner=self._caller.sees)

    def cancel_batch(self, batch_id: str) -> Batch:
        """Cancel all active jobs of the batch.

        Raises:
            BatchNotFound: if it does not exist.
        """
        for entry in self.batch(batch_id).entries:
            if entry.job_id is not None and entry.state in ("queued", "running"):
                self._records.cancel(entry.job_id)
        try:
            self.dispatcher.publish_batches([batch_id])
        except BrokerUnavailable as error:
            _log.warning("Batch %s waits for the broker: %s", batch_id, error)
        return self.batch(batch_id)

    def remove_batch(self, batch_id: str) -> None:
        """Delete an ended batch with its own files; its jobs stay.

        Raises:
            BatchNotFound: if it does not exist.
            BatchNotReady: if it has not ended.
        """
        batch = self.batch(batch_id)
        if not self.batches.remove(batch_id):
            raise BatchNotReady(value=batch.state, limit="ended", remedy="Cancel it first.")
        try:
            self._deletion.sweep_batch(batch_id)
        except (StoreError, OSError):
            _log.warning("Files of deleted batch %s are left to the orphan sweep.", batch_id, exc_info=True)

    def batch_file(self, batch_id: str, name: str) -> StoredFile:
        """Return one of a batch's own files.

        Raises:
            BatchNotFound: if it does not exist.
            BatchNotReady: if it has no manifest yet, or failed.
            FileNotInJob: if it has no such file.
        """
        batch = self.batch(batch_id)
        file = self.batches.file(batch_id, name)
        if file is not None:
            return file
        if batch.state != "ended":
            raise BatchNotReady(value=batch.state, limit="ended", remedy="Try again when its state is ended.")
        if batch.problem is not None:
            raise BatchNotReady(f"The batch has no files: {batch.problem.get('detail')}", value=batch.state)
        raise FileNotInJob("The batch has no such file.", value=name)

    def batch_archive(self, batch_id: str) -> BatchArchive:
        """Return the archive of a batch: its own files, and a folder for each job that succeeded.

        Raises:
            BatchNotFound: if it does not exist.
            BatchNotReady: if it has no manifest yet, or failed.
            BlobMissing: if a file is missing or damaged.
        """
        self.batch_file(batch_id, MANIFEST_NAME)
        return self._archives.archive(self.batches.files(batch_id), self.batches.bundles(batch_id))

    def publish_batches(self, job_id: str) -> None:
        """Publish the finalizing of batches that end with this job; without a broker that happens later."""
        try:
            self.dispatcher.publish_batches(self.batches.of_job(job_id))
        except BrokerUnavailable as error:
            _log.warning("A batch waits for the broker: %s", error)

    def _unchanged(self, job_id: str, revision: int | None) -> Job:
        """Return a job that a change did not apply to.

        Raises:
            JobNotFound: if it does not exist.
            PreconditionFailed: if it has another revision than this.
        """
        job = self.job(job_id)
        if revision not in (None, job.revision):
            raise PreconditionFailed("The job was changed by another request.", value=revision, limit=str(job.revision))
        return job

    def _ready(self, job_id: str) -> None:
        job = self.job(job_id)
        if job.state != "succeeded":
            remedy = "Try again when its state is succeeded." if not job.ended else None
            raise JobNotReady(value=job.state, limit="succeeded", remedy=remedy)

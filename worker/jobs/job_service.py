"""The job service: submits jobs, tells about them and hands out their files.

This is all that the API sees of a job. It imports nothing that builds a mesh.
"""

import copy
import logging
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Final, Self

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
    JobNotFound,
    JobNotReady,
)
from worker.jobs.common.ids import ID_PATTERN
from worker.jobs.common.principal import LOCAL, Principal
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.verified_read import stream_verified
from worker.jobs.maintenance.job_deletion import JobDeletion
from worker.jobs.maintenance.scheduler import MaintenanceScheduler
from worker.jobs.observability.tracing import span
from worker.jobs.queue.celery_app import make_app
from worker.jobs.queue.dispatcher import Dispatcher
from worker.jobs.records.api_keys import ApiKeys
from worker.jobs.records.batches import Batch, BatchRecords, CheckedSpec
from worker.jobs.records.heartbeats import Heartbeats
from worker.jobs.records.idempotency import IdempotencyKey
from worker.jobs.records.job_filters import JobFilters
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import BUNDLE_NAME, MANIFEST_NAME, Job, StoredFile
from worker.jobs.records.print_events import PrintRecords
from worker.jobs.records.webhook_endpoints import WebhookEndpoints
from worker.jobs.webhooks.delivery import WebhookDelivery
from worker.jobs.webhooks.ip_policy import read_networks
from worker.jobs.webhooks.safe_http_client import SafeHttpClient, read_ports
from worker.spec import Spec
from worker.spec.limits import check_cells

__all__ = ["JobService"]

_log = logging.getLogger(__name__)

#: An identity as `new_id` makes it; anything else is no job, and needs no look into the record.
_IDENTITY: Final = re.compile(ID_PATTERN)

#: Most jobs listed in one go.
_MOST: Final = 200


class JobService:
    """Jobs: submit, look, cancel, fetch. Safe to use from several threads.

    It works for one caller, at first the machine's owner, who sees all jobs. Whatever is asked about a job goes through
    `job` or the caller's own listing, so a job of somebody else is one that is not there.
    """

    def __init__(self, settings: Settings, database: Database, blobs: ObjectStore) -> None:
        """Put an engine together; `open` does it from settings alone."""
        self.settings = settings
        self._database = database
        self._records = JobRecords(database, settings.public_url)
        self._blobs = blobs
        self._app = make_app(settings, "send")
        self._deletion = JobDeletion(database, blobs)
        self._caller = LOCAL
        self.keys = ApiKeys(database)
        self.batches = BatchRecords(database)
        self.prints = PrintRecords(database, settings.public_url)
        self.dispatcher = Dispatcher(
            settings, self._app, records=self._records, prints=self.prints, batches=self.batches
        )
        self._maintenance = MaintenanceScheduler(settings, database, blobs, self.dispatcher.republish)
        self.webhooks = WebhookEndpoints(database)
        self.vitals = Heartbeats(database)
        self.reach = SafeHttpClient(read_networks(settings.webhook_networks), read_ports(settings.webhook_ports))

    @classmethod
    def open(cls, settings: Settings) -> "JobService":
        """Open the record and the store that the settings name. The broker is not needed yet.

        Raises:
            SettingsError: when one of them cannot be opened.
        """
        return cls(settings, open_database(settings.database, durable=True), ObjectStore.open(settings))

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close."""
        self.close()

    def close(self) -> None:
        """Give back all connections."""
        self.dispatcher.close()
        self._maintenance.resign()
        self._app.close()
        self._database.dispose()

    def on_behalf_of(self, caller: Principal) -> "JobService":
        """Return this engine as the caller may use it; it has the same connections and is not closed by itself."""
        if caller is self._caller:
            return self
        seen = copy.copy(self)
        seen._caller = caller  # noqa: SLF001 - its own copy
        return seen

    def webhook_delivery(self) -> WebhookDelivery:
        """Return a courier for this record's messages, not started."""
        return WebhookDelivery(self._database, self.reach)

    def submit(self, spec: Spec, *, webhooks: Sequence[str] = (), key: str | None = None) -> Job:
        """Add the job to the table, then have its message published. Without a broker the dispatcher does so later.

        A request that is repeated under its idempotency key is answered with the job that it made.

        Raises:
            WebhookNotFound: when the caller has no such webhook as one of those that the job names.
            SpecTooLarge: when it has more cells than the caller's key allows.
            QuotaReached: when the caller has as many jobs as the key allows.
            RequestRepeated: when another request of the caller's had this key.
            JobNotFound: when the job that this one made was removed.
        """
        caller = self._caller
        quotas = None if caller is LOCAL else caller.quotas.with_defaults(self.settings)
        self.check_cells(spec)
        text = spec.to_json()
        repeat = None if key is None else IdempotencyKey.of(key, "job", text, *webhooks)
        job = self._records.add(spec.name, text, owner=caller.owner, quotas=quotas, webhooks=webhooks, repeat=repeat)
        with span("submit", {"drawerwright.job": job.id}):
            self.publish(job.id)
        return job

    def job(self, job_id: str) -> Job:
        """Return the job.

        Raises:
            JobNotFound: when there is none, or it is somebody else's.
        """
        job = self._records.job(job_id, owner=self._caller.sees) if _IDENTITY.fullmatch(job_id) else None
        if job is None:
            raise JobNotFound(value=job_id)
        return job

    def jobs(self, *, limit: int = 50, after: str | None = None, filters: JobFilters | None = None) -> list[Job]:
        """Return jobs, newest first, at most 200; ``after`` is the identity of the last job of the page before."""
        return self._records.jobs(max(0, min(limit, _MOST)), after, owner=self._caller.sees, filters=filters)

    def revisions(self, job_ids: Iterable[str]) -> dict[str, int]:
        """Return the revision of each of these jobs that is there, whoever's they are."""
        return self._records.revisions(job_ids)

    def changed_since(self, moment: datetime, limit: int = _MOST) -> list[Job]:
        """Return jobs that changed at this moment or later, in the order of their last change."""
        return self._records.changed_since(moment, limit, owner=self._caller.sees)

    def cancel(self, job_id: str) -> Job:
        """Cancel the job; a worker that builds it stops before its next part.

        Raises:
            JobNotFound: when there is none.
            JobFinished: when it has ended already, cancelled or not.
        """
        job = self.job(job_id)
        if not self._records.cancel(job_id):
            job = self.job(job_id)
            remedy = f"To remove it with its files: DELETE /v1/jobs/{job_id}/files."
            raise JobFinished(value=job.state, limit="a job that is queued or running", remedy=remedy)
        return self.job(job_id)

    def remove(self, job_id: str) -> None:
        """Remove a job that has ended, with its files; parts that other jobs have too stay for them.

        Raises:
            JobNotFound: when there is none.
            JobNotEnded: when it is queued or running.
        """
        job = self.job(job_id)
        if not self._deletion.mark(job_id):
            raise JobNotEnded(value=job.state, limit="a job that has ended", remedy="Cancel it first.")
        try:
            self._deletion.sweep(job_id)
        except (SQLAlchemyError, StoreError, OSError):  # it is gone for everybody; a later sweep takes the rest
            _log.warning("Files of removed job %s wait for the next sweep.", job_id, exc_info=True)

    def manifest(self, job_id: str) -> StoredFile:
        """Return the manifest.

        Raises:
            JobNotFound: when there is no such job.
            JobNotReady: when it has not succeeded.
        """
        return self.file(job_id, MANIFEST_NAME)

    def bundle(self, job_id: str) -> StoredFile:
        """Return the archive of all files.

        Raises:
            JobNotFound: when there is no such job.
            JobNotReady: when it has not succeeded.
        """
        return self.file(job_id, BUNDLE_NAME)

    def files(self, job_id: str) -> list[StoredFile]:
        """Return all files by name, manifest and bundle among them.

        Raises:
            JobNotFound: when there is no such job.
            JobNotReady: when it has not succeeded.
        """
        self._ready(job_id)
        return self._records.files(job_id)

    def file(self, job_id: str, name: str) -> StoredFile:
        """Return one file.

        Raises:
            JobNotFound: when there is no such job.
            JobNotReady: when it has not succeeded.
            FileNotInJob: when it has no file of this name.
        """
        file = self._records.file(job_id, name, owner=self._caller.sees) if _IDENTITY.fullmatch(job_id) else None
        if file is None:
            self._ready(job_id)
            raise FileNotInJob(value=name)
        return file

    def read(self, file: StoredFile, start: int = 0, end: int | None = None) -> Iterator[bytes]:
        """Return the file's bytes from ``start`` up to ``end`` in pieces, which the store is asked for at once.

        No damaged file is handed out whole: a large one ends in the error before its last piece.

        Raises:
            BlobMissing: when the store has no such file, or has it damaged.
        """
        return stream_verified(self._blobs, file, start, file.bytes if end is None else min(end, file.bytes))

    def run_maintenance(self) -> int | None:
        """Do the upkeep that is due, if no other process does; return how many jobs were sent again, or None.

        Raises:
            BrokerUnavailable: when the broker does not answer; all else was done.
        """
        return self._maintenance.run()

    def away(self) -> list[str]:
        """Return which of broker, store and workers are away: jobs are taken all the same, and wait."""
        away = []
        if not self.dispatcher.answers():
            away.append("broker")
        try:
            self._blobs.check()
        except (StoreError, OSError):
            away.append("store")
        if not self.vitals.worker_seen():
            away.append("worker")
        return away

    def publish(self, job_id: str) -> None:
        """Have a worker build this job; without a broker the dispatcher publishes it later."""
        self.dispatcher.publisher.publish(job_id)

    def publish_resumed(self, job_id: str) -> None:
        """Have a worker resume a job that was handed back, before all that wait."""
        try:
            self.dispatcher.publish_jobs([job_id], resumed=True)
        except BrokerUnavailable as error:
            _log.warning("Job %s waits: %s", job_id, error)

    def publish_repack(self, job_id: str) -> None:
        """Have a worker write the files of the job's new runs; without a broker the dispatcher publishes it later."""
        try:
            self.dispatcher.publish_repacks([job_id])
        except BrokerUnavailable as error:
            _log.warning("New runs of job %s wait: %s", job_id, error)

    def submit_batch(
        self, name: str, specs: Sequence[CheckedSpec], *, webhooks: Sequence[str] = (), key: str | None = None
    ) -> Batch:
        """Add a batch with a job for each valid spec, then have their messages published, as `submit` does.

        Raises:
            WebhookNotFound, QuotaReached, RequestRepeated: as `submit`; nothing was added.
            BatchNotFound: when the batch that this request made was removed.
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
            _log.warning("Jobs of batch %s wait: %s", batch_id, error)
        return self.batch(batch_id)

    def check_cells(self, spec: Spec) -> None:
        """Check the spec against what the caller's key allows.

        Raises:
            SpecTooLarge: when it has more cells.
        """
        if self._caller is not LOCAL:
            check_cells(spec, self._caller.quotas.with_defaults(self.settings).cells or self.settings.most_cells)

    def batch(self, batch_id: str) -> Batch:
        """Return the batch.

        Raises:
            BatchNotFound: when there is none, or it is somebody else's.
        """
        is_id = _IDENTITY.fullmatch(batch_id)
        batch = self.batches.batch(batch_id, owner=self._caller.sees) if is_id else None
        if batch is None:
            raise BatchNotFound(value=batch_id)
        return batch

    def cancel_batch(self, batch_id: str) -> Batch:
        """Cancel all jobs of the batch that have not ended.

        Raises:
            BatchNotFound: when there is none.
        """
        for entry in self.batch(batch_id).entries:
            if entry.job_id is not None and entry.state in ("queued", "running"):
                self._records.cancel(entry.job_id)
        try:
            self.dispatcher.publish_batches([batch_id])
        except BrokerUnavailable as error:
            _log.warning("Batch %s waits: %s", batch_id, error)
        return self.batch(batch_id)

    def remove_batch(self, batch_id: str) -> None:
        """Remove a batch that has ended with its own files; its jobs stay.

        Raises:
            BatchNotFound: when there is none.
            BatchNotReady: when it has not ended.
        """
        batch = self.batch(batch_id)
        if not self.batches.remove(batch_id):
            raise BatchNotReady(value=batch.state, limit="ended", remedy="Cancel it first.")
        try:
            self._deletion.sweep_batch(batch_id)
        except (StoreError, OSError):
            _log.warning("Files of removed batch %s are left.", batch_id, exc_info=True)

    def batch_file(self, batch_id: str, name: str) -> StoredFile:
        """Return one of a batch's own files.

        Raises:
            BatchNotFound: when there is no such batch.
            BatchNotReady: when it has no manifest yet, or could not have one.
            FileNotInJob: when it has no such file.
        """
        batch = self.batch(batch_id)
        file = self.batches.file(batch_id, name)
        if file is not None:
            return file
        if batch.state != "ended":
            raise BatchNotReady(value=batch.state, limit="ended", remedy="Ask again when its state is ended.")
        if batch.problem is not None:
            raise BatchNotReady(f"There are no files over all jobs: {batch.problem.get('detail')}", value=batch.state)
        raise FileNotInJob("The batch has no such file.", value=name)

    def publish_batches(self, job_id: str) -> None:
        """Have a worker finish the batches that end with this job; without a broker that is published later."""
        try:
            self.dispatcher.publish_batches(self.batches.of_job(job_id))
        except BrokerUnavailable as error:
            _log.warning("A batch waits: %s", error)

    def _ready(self, job_id: str) -> None:
        job = self.job(job_id)
        if job.state != "succeeded":
            remedy = "Ask again when its state is succeeded." if not job.ended else None
            raise JobNotReady(value=job.state, limit="succeeded", remedy=remedy)

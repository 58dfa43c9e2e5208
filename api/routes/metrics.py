"""Metrics for Prometheus. Those of jobs are read from the database, so every API process reports the same values."""

import logging
from collections.abc import Iterator
from typing import TypeAlias

from fastapi import APIRouter, Response
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector
from sqlalchemy.exc import SQLAlchemyError

from api.app_state import AppStateDep, JobServiceDep
from api.http.problems.problem_documents import refusals
from worker.jobs.records.heartbeats import Heartbeats

__all__ = ["router"]

_log = logging.getLogger(__name__)

router = APIRouter(tags=["health"])

_Gauges: TypeAlias = Iterator[GaugeMetricFamily]


@router.head("/metrics", include_in_schema=False)
@router.get(
    "/metrics",
    operation_id="getMetrics",
    summary="Get metrics for Prometheus",
    responses={
        200: {
            "description": "The metrics in the Prometheus text format.",
            "content": {"text/plain": {"schema": {"type": "string"}}},
        },
        **refusals(),
    },
    response_class=Response,
)
def get_metrics(state: AppStateDep, job_service: JobServiceDep) -> Response:
    """Get metrics of jobs, queues, workers and webhooks, and of the requests that this process answered.

    If the service has API keys, a key with the scope admin is required, unless the client's network is listed in
    DRAWERWRIGHT_METRICS_NETWORKS.
    """
    text = generate_latest(_DatabaseMetrics(job_service.heartbeats)) + generate_latest(state.request_metrics.registry)
    return Response(text, headers={"Content-Type": CONTENT_TYPE_LATEST})


class _DatabaseMetrics(Collector):
    """Collects the metrics that are read from the database at each scrape."""

    def __init__(self, heartbeats: Heartbeats) -> None:
        self._heartbeats = heartbeats

    def collect(self) -> _Gauges:
        """Yield the metrics; when the database is unreachable, only `drawerwright_record_up` as 0."""
        try:
            now = self._heartbeats.figures()
        except (SQLAlchemyError, OSError):
            _log.exception("Reading metrics from the database failed.")
            yield _gauge("record_up", "Whether the database can be read (1) or not (0).", 0)
            return
        yield _gauge("record_up", "Whether the database can be read (1) or not (0).", 1)
        yield _by_state("jobs", "Jobs, by state.", now.jobs)
        yield _gauge("oldest_queued_seconds", "Age of the oldest queued job, in seconds.", now.oldest_queued)
        yield _gauge("attempts", "Attempts started for all stored jobs.", now.attempts)
        yield _gauge("kept_bytes", "Size of all stored results, in bytes.", now.kept_bytes)
        yield _gauge("parts", "Parts in the part cache.", now.parts)
        yield _gauge("workers", "Workers with a recent heartbeat.", now.workers)
        yield _gauge("messages_waiting", "Webhook messages waiting for delivery.", now.messages)
        yield _gauge(
            "oldest_message_seconds",
            "Age of the oldest webhook message waiting for delivery, in seconds.",
            now.oldest_message,
        )
        yield _by_state("webhooks", "Webhooks, by state.", now.webhooks)


def _gauge(name: str, description: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(f"drawerwright_{name}", description, value=value)


def _by_state(name: str, description: str, values: dict[str, int]) -> GaugeMetricFamily:
    family = GaugeMetricFamily(f"drawerwright_{name}", description, labels=("state",))
    for state, count in sorted(values.items()):
        family.add_metric((state,), count)
    return family

"""Metrics: figures for Prometheus. What is of the record is read from it, so every process tells the same of that."""

import logging
from collections.abc import Iterator
from typing import TypeAlias

from fastapi import APIRouter, Request, Response
from prometheus_client import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector
from sqlalchemy.exc import SQLAlchemyError

from api.app_state import JobServiceDep
from api.http.problems import refusals
from worker.jobs.records.heartbeats import Heartbeats

__all__ = ["router"]

_log = logging.getLogger(__name__)

router = APIRouter(tags=["health"])

_Gauges: TypeAlias = Iterator[GaugeMetricFamily]


@router.head("/metrics", include_in_schema=False)
@router.get(
    "/metrics",
    operation_id="getMetrics",
    summary="Figures for Prometheus",
    responses={
        200: {"description": "The figures as text.", "content": {"text/plain": {"schema": {"type": "string"}}}},
        **refusals(),
    },
    response_class=Response,
)
def get_metrics(request: Request, job_service: JobServiceDep) -> Response:
    """Tell jobs by state, what waits and for how long, workers seen, messages, and this process's own requests.

    Once there are keys it needs one with the scope admin, unless DRAWERWRIGHT_METRICS_NETWORKS names who may look.
    """
    text = generate_latest(_Record(job_service.vitals)) + generate_latest(request.app.state.request_metrics.registry)
    return Response(text, headers={"Content-Type": CONTENT_TYPE_LATEST})


class _Record(Collector):
    """The figures of a record, each time as they are."""

    def __init__(self, vitals: Heartbeats) -> None:
        self._vitals = vitals

    def collect(self) -> _Gauges:
        """Read them; a record that is away is a figure too."""
        try:
            now = self._vitals.figures()
        except (SQLAlchemyError, OSError):
            _log.exception("The record cannot be read.")
            yield _gauge("record_up", "Whether the record can be read.", 0)
            return
        yield _gauge("record_up", "Whether the record can be read.", 1)
        yield _by_state("jobs", "Jobs by state.", now.jobs)
        yield _gauge("oldest_queued_seconds", "Age of the job that is queued for longest.", now.oldest_queued)
        yield _gauge("attempts", "Attempts at all jobs that are kept.", now.attempts)
        yield _gauge("kept_bytes", "Bytes of the results that are kept.", now.kept_bytes)
        yield _gauge("parts", "Shapes in the cache of parts.", now.parts)
        yield _gauge("workers", "Workers that gave a sign of life lately.", now.workers)
        yield _gauge("messages_waiting", "Messages that no endpoint has taken yet.", now.messages)
        yield _gauge("oldest_message_seconds", "Age of the message that waits for longest.", now.oldest_message)
        yield _by_state("webhooks", "Webhooks by state.", now.webhooks)


def _gauge(name: str, says: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(f"drawerwright_{name}", says, value=value)


def _by_state(name: str, says: str, values: dict[str, int]) -> GaugeMetricFamily:
    made = GaugeMetricFamily(f"drawerwright_{name}", says, labels=("state",))
    for state, count in sorted(values.items()):
        made.add_metric((state,), count)
    return made

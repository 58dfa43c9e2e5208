"""The app: routes, problems and the job service behind them."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

from fastapi import FastAPI

from api import kiosk
from api.app_state import AppState, maintain
from api.auth.access import Gate, Guard, check_bind
from api.http.middleware.cors import Cors, read_origins
from api.http.middleware.request_log import RequestLog, RequestMetrics
from api.http.middleware.safe_headers import SafeHeaders
from api.http.problems.problem_documents import install
from api.http.responses.job_watch import JobWatch
from api.openapi.document import DESCRIPTION, VERSION, document, send_document
from api.planning.planner_pool import PlannerPool
from api.routes import (
    batches,
    catalogue,
    events,
    health,
    job_files,
    jobs,
    keys,
    metrics,
    plans,
    prints,
    problems,
    reference_sheet,
    schedules,
    silhouettes,
    specs,
    webhooks,
)
from api.routes.household import changes, drawers, pieces, things, whole
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.private_files import keep_files_private
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService

__all__ = ["create_app"]


def create_app(inside: JobService | Settings | None = None) -> FastAPI:
    """Return the app over this job service, or over one of its own that it opens from the settings and closes.

    Without either, the settings are read from the environment when the app starts.
    """

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        if inside is None:
            keep_files_private()  # this process is the service
        job_service = inside if isinstance(inside, JobService) else JobService.open(inside or Settings.read())
        try:
            check_bind(job_service.settings, job_service.keys)
        except SettingsError:
            if job_service is not inside:
                job_service.close()
            raise
        watch = JobWatch(job_service)
        planners = PlannerPool(job_service.settings)
        app.state.shared = AppState(
            job_service=job_service,
            guard=Guard(job_service.keys, job_service.settings, job_service.prints.links),
            watch=watch,
            request_metrics=request_metrics,
            planners=planners,
            origins=read_origins(job_service.settings.cors_origins),
        )
        delivery = job_service.webhook_delivery()
        delivery.start()
        job_service.dispatcher.publisher.start()
        maintenance = asyncio.create_task(maintain(job_service))
        try:
            with watch.closing_on_signals():
                yield
        finally:
            await watch.close()
            await planners.close()
            maintenance.cancel()
            with suppress(asyncio.CancelledError):
                await maintenance
            await asyncio.to_thread(job_service.dispatcher.publisher.close)
            await asyncio.to_thread(delivery.close)
            if job_service is not inside:
                job_service.close()

    request_metrics = RequestMetrics()
    app = FastAPI(
        title="Drawerwright",
        version=VERSION,
        description=DESCRIPTION,
        license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
        openapi_url=None,  # the framework would make the document on the event loop
        docs_url=None,  # their pages load scripts from elsewhere
        redoc_url=None,
        redirect_slashes=False,
        telemetry={
            "tracing": False,
            "metrics": False,
            "logs": False,
        },  # `worker.jobs.observability.tracing` has its own
        lifespan=lifespan,
    )
    for module in (
        jobs, job_files, specs, events, batches, prints, schedules, webhooks, keys, plans, drawers, changes, things,
        pieces, whole, catalogue, silhouettes, reference_sheet, problems, health, metrics, kiosk,
    ):  # fmt: skip
        app.include_router(module.router)
    app.add_route("/openapi.json", send_document, include_in_schema=False)
    install(app)
    app.add_middleware(Gate)
    app.add_middleware(Cors)
    app.add_middleware(SafeHeaders)
    app.add_middleware(RequestLog, metrics=request_metrics)
    app.openapi = lambda: document(app)  # type: ignore[method-assign] # the framework's own way to extend it
    return app

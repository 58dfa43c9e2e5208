"""The app: routes, problems and the job service behind them."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

from anyio import CapacityLimiter
from fastapi import FastAPI

from api import kiosk
from api.app_state import reconcile
from api.auth.access import Gate, Guard, check_bind
from api.http.flights import Flights
from api.http.job_watch import Watch
from api.http.problems import install
from api.http.request_log import RequestLog, RequestMetrics
from api.http.safe_headers import SafeHeaders
from api.openapi.document import DESCRIPTION, VERSION, document, send_document
from api.routes import batches, catalogue, events, health, jobs, metrics, plans, prints, problems, schedules, webhooks
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.layout.placement.cp_sat import load_solver

__all__ = ["create_app"]


def create_app(inside: JobService | Settings | None = None) -> FastAPI:
    """Return the app over this job service, or over one of its own that it opens with the settings and closes.

    Without either, the settings are read from the environment when the app starts.
    """

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        job_service = inside if isinstance(inside, JobService) else JobService.open(inside or Settings.read())
        try:
            check_bind(job_service.settings, job_service.keys)
        except SettingsError:
            if job_service is not inside:
                job_service.close()
            raise
        app.state.engine = job_service
        app.state.guard = Guard(job_service.keys, job_service.settings, job_service.prints.links)
        app.state.settings = job_service.settings
        app.state.probe = health.Probe()
        app.state.flights = Flights()
        app.state.watch = Watch(job_service)
        app.state.streams = events.Streams()
        app.state.planners = CapacityLimiter(job_service.settings.concurrency)
        app.state.planning = 0
        courier = job_service.courier()
        courier.start()
        job_service.dispatcher.waker.start()
        reconciler = asyncio.create_task(reconcile(job_service))
        loading = asyncio.create_task(asyncio.to_thread(load_solver))  # the first plan shall not wait for it
        try:
            with app.state.watch.until_told():
                yield
        finally:
            await app.state.watch.close()
            reconciler.cancel()
            with suppress(asyncio.CancelledError):
                await reconciler
            await asyncio.to_thread(job_service.dispatcher.waker.close)
            await asyncio.to_thread(courier.close)
            await loading
            if job_service is not inside:
                job_service.close()

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
    for one in (jobs, events, batches, prints, schedules, webhooks, plans, catalogue, problems, health, metrics, kiosk):
        app.router.routes.extend(one.router.routes)  # all on one level: a router in a router takes longer to ask
    app.add_route("/openapi.json", send_document, include_in_schema=False)
    install(app)
    app.add_middleware(Gate)
    app.add_middleware(SafeHeaders)
    app.state.request_metrics = RequestMetrics()
    app.add_middleware(RequestLog, metrics=app.state.request_metrics)
    app.openapi = lambda: document(app)  # type: ignore[method-assign] # the framework's own way to extend it
    return app

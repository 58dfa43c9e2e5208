"""The HTTP server: in the main thread until a signal, or in a background thread inside a context."""

import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from socket import socket
from threading import Thread
from types import FrameType
from typing import Final

import uvicorn

from api.app import create_app
from api.command.listener import listen
from api.http.middleware.idle_timeout import idle_timeout_protocol
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.settings import Settings
from worker.jobs.observability.logging_setup import set_up_logging
from worker.jobs.observability.tracing import end_tracing, set_up_tracing

__all__ = ["listening", "serve_on"]

#: Seconds that responses in progress get at shutdown.
_GRACE: Final = 5

#: Most bytes of a request's head.
_MAX_HEAD_BYTES: Final = 32_768

#: Most connections at a time, each with a file descriptor; further ones get 503.
_MAX_CONNECTIONS: Final = 500

#: Seconds in which the service must have started or stopped.
_TIMEOUT: Final = 30.0


def serve_on(listener: socket, settings: Settings) -> None:
    """Serve in this thread until SIGINT or SIGTERM."""
    before = signal.signal(signal.SIGTERM, _exit)  # uvicorn raises the signal again after its shutdown
    try:
        set_up_logging(settings)
        set_up_tracing(settings, "api")
        server = _server(settings, "info")
        server.run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        signal.signal(signal.SIGTERM, before)
        end_tracing()


@contextmanager
def listening(settings: Settings) -> Iterator[str]:
    """Serve in a background thread inside the context; give the URL.

    Raises:
        SettingsError: if the service does not start.
    """
    with listen(settings.host, settings.port) as listener:
        server = _server(settings, "warning")
        thread = Thread(target=server.run, kwargs={"sockets": [listener]}, name="service", daemon=True)
        thread.start()
        try:
            until = time.monotonic() + _TIMEOUT
            while not server.started:
                if not thread.is_alive() or time.monotonic() > until:
                    raise SettingsError("The service did not start.", limit=f"{_TIMEOUT:g} s", remedy="See its log.")
                time.sleep(0.01)
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join(_TIMEOUT)


def _server(settings: Settings, level: str) -> uvicorn.Server:
    return uvicorn.Server(
        uvicorn.Config(
            create_app(settings),
            log_level=level,
            log_config=None,  # the service sets up logging itself
            access_log=False,
            lifespan="on",
            http=idle_timeout_protocol(settings.body_seconds),
            h11_max_incomplete_event_size=_MAX_HEAD_BYTES,
            limit_concurrency=_MAX_CONNECTIONS,
            server_header=False,
            proxy_headers=False,  # see `api.auth.client_address`; these would trust every local process
            timeout_graceful_shutdown=_GRACE,
        )
    )


def _exit(_signal: int, _frame: FrameType | None) -> None:
    raise SystemExit(0)

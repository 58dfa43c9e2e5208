"""The service on a socket: in this thread until it is told to end, or in another one for a while."""

import gc
import signal
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Thread
from types import FrameType
from typing import Final

import uvicorn

from api.app import create_app
from api.http.idle_timeout import patient
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.settings import Settings
from worker.jobs.observability.logging_setup import set_up_logging
from worker.jobs.observability.tracing import end_tracing, set_up_tracing

__all__ = ["listen", "listening", "serve_on", "settle"]

#: Seconds that answers under way get when the service ends.
_GRACE: Final = 5

#: Bytes of the head of a request.
_LONGEST_HEAD: Final = 32_768

#: Connections at a time; whoever comes then is told that the service is busy (503). Each takes a file descriptor.
_MOST_CONNECTIONS: Final = 500

#: Objects made and not gone again, after which Python's garbage collector looks at them: more than a short spec makes.
_MADE: Final = 20_000

#: Seconds in which the service must have started, or ended.
_PATIENCE: Final = 30.0


def listen(host: str, port: int) -> socket.socket:
    """Return a socket that listens; port 0 takes a free one.

    Raises:
        SettingsError: when the address cannot be had.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        listener = socket.create_server((host, port), family=family, backlog=256)
    except OSError as error:
        remedy = "Is another service running there? Take another with --port."
        raise SettingsError(f"Cannot listen there: {error.strerror}.", value=f"{host}:{port}", remedy=remedy) from None
    # its connections inherit this; without, the body of each answer on a kept connection waits 40 ms for the head's ACK
    listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return listener


def serve_on(listener: socket.socket, settings: Settings) -> None:
    """Serve in this thread until the process is told to end (SIGINT, SIGTERM)."""
    before = signal.signal(signal.SIGTERM, _end)  # the server raises it again when it has ended, and we clean up too
    try:
        set_up_logging(settings)
        set_up_tracing(settings, "api")
        server = _server(settings, "info")
        settle()
        server.run(sockets=[listener])
    except KeyboardInterrupt:
        pass
    finally:
        signal.signal(signal.SIGTERM, before)
        end_tracing()


def settle() -> None:
    """Keep Python's garbage collector from looking at what was made so far, which stays as long as the process.

    To look through all that was imported takes it a tenth of a second, in which every request waits. What a request
    makes goes without it, so it need not look several times during each.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(_MADE, *gc.get_threshold()[1:])


@contextmanager
def listening(settings: Settings) -> Iterator[str]:
    """Serve in another thread while this lasts; give the address.

    Raises:
        SettingsError: when the service does not start.
    """
    with listen(settings.host, settings.port) as listener:
        server = _server(settings, "warning")
        thread = Thread(target=server.run, kwargs={"sockets": [listener]}, name="service", daemon=True)
        thread.start()
        try:
            until = time.monotonic() + _PATIENCE
            while not server.started:
                if not thread.is_alive() or time.monotonic() > until:
                    raise SettingsError("The service does not start.")
                time.sleep(0.01)
            yield f"http://127.0.0.1:{listener.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join(_PATIENCE)


def _server(settings: Settings, level: str) -> uvicorn.Server:
    return uvicorn.Server(
        uvicorn.Config(
            create_app(settings),
            log_level=level,
            log_config=None,  # lines of our own
            access_log=False,
            lifespan="on",
            http=patient(settings.body_seconds),
            h11_max_incomplete_event_size=_LONGEST_HEAD,
            limit_concurrency=_MOST_CONNECTIONS,
            server_header=False,
            timeout_graceful_shutdown=_GRACE,
        )
    )


def _end(_signal: int, _frame: FrameType | None) -> None:
    raise SystemExit(0)

"""The listening socket of the HTTP server, apart from the server so that `serve` can open it before it imports one."""

import socket

from worker.jobs.common.errors import SettingsError

__all__ = ["listen"]


def listen(host: str, port: int) -> socket.socket:
    """Return a listening socket; port 0 takes a free port.

    Raises:
        SettingsError: if the address is in use or not one of this machine.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        listener = socket.create_server((host, port), family=family, backlog=256)
    except OSError as error:
        remedy = "Stop the service that uses this port, or choose another with --port."
        raise SettingsError(f"Cannot listen there: {error.strerror}.", value=f"{host}:{port}", remedy=remedy) from None
    # connections inherit TCP_NODELAY; without it each response on a kept connection waits 40 ms for the head's ACK
    listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return listener

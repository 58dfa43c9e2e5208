"""``drawerwright submit``: a spec to a running service."""

from pathlib import Path

from api.command.building import build
from api.command.client import Client
from api.command.ending import ending
from api.command.options import File, Machine, Out, Url, default_url, spec_bytes
from worker.jobs.settings import Settings

__all__ = ["submit"]


def submit(file: File, *, url: Url = None, out: Out = Path("out"), machine: Machine = False) -> None:
    """Send a spec to a running service, show progress, and put all files into a folder."""
    spec = spec_bytes(file)
    with ending(machine=machine):
        settings = Settings.read()
        with Client(url or default_url(settings), settings.key) as client:
            build(client, spec, out, machine=machine)

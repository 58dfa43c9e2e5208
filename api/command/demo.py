"""``drawerwright demo``: a complete job on an example drawer."""

from pathlib import Path
from tempfile import TemporaryDirectory

from api.command.exit_codes import ending
from api.command.options import Machine, Out
from api.command.remote.job_run import build
from api.command.service.client import Client
from api.command.terminal.display import note
from api.openapi import examples
from worker.jobs.common.settings import Settings

__all__ = ["demo"]


def demo(*, out: Out = None, machine: Machine = False) -> None:
    """Build an example drawer with a temporary service and save all its files in a folder."""
    from api.command.server import listening  # noqa: PLC0415 - the other commands need no server
    from worker.jobs.processes.supervisor import Supervisor  # noqa: PLC0415 - as above

    with ending(machine=machine), TemporaryDirectory(prefix="drawerwright-") as data:
        # the demo ignores the configured service: it touches nothing but its own folder
        settings = Settings.read(
            data_dir=Path(data),
            database_url="",
            blob_url="",
            broker_url="",
            host="127.0.0.1",
            port=0,
            open_loopback="always",
        )
        note("Starting a temporary service with a broker and a worker ...")
        with Supervisor(settings), listening(settings) as url, Client(url) as client:
            build(client, examples.text(examples.DEMO), out or settings.out, machine=machine, lasting=False)

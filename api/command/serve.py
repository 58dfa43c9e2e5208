"""``drawerwright serve``: the API, with an embedded broker and worker unless an external broker is configured."""

from contextlib import closing
from pathlib import Path
from typing import Annotated, Any

import typer

from api.command.exit_codes import ending
from api.command.listener import listen
from api.command.options import default_url, is_open
from api.command.terminal.display import note
from api.http.requests.base_url import is_here
from worker.jobs.common.private_files import keep_files_private
from worker.jobs.common.settings import Settings

__all__ = ["serve"]


def serve(
    *,
    host: Annotated[str | None, typer.Option(help="Address to listen on.", show_default="127.0.0.1")] = None,
    port: Annotated[int | None, typer.Option(help="Port to listen on.", show_default="8765")] = None,
    data: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Folder for the database and the results.")
    ] = None,
) -> None:
    """Run the service with its broker and worker until Ctrl-C.

    All settings can also be given as environment variables (DRAWERWRIGHT_...) or in the configuration file.
    """
    from worker.jobs.processes.supervisor import Supervisor  # noqa: PLC0415 - the other commands start no processes

    with ending(machine=False):
        options: dict[str, Any] = {"host": host, "port": port, "data_dir": data}
        keep_files_private()
        settings = Settings.read(**{name: value for name, value in options.items() if value is not None})
        if not is_here(settings.host):
            from api.auth.access import check_bind  # noqa: PLC0415 - only a service that others reach needs the check

            check_bind(settings)
        with listen(settings.host, settings.port) as listener:
            settings = settings.model_copy(update={"port": listener.getsockname()[1]})
            if settings.embedded:
                note("Starting the broker and a worker ...")
            with closing(Supervisor(settings)) as supervisor:
                supervisor.launch()  # broker and worker start up while this process imports the server
                from api.command.server import serve_on  # noqa: PLC0415 - as above
                from worker.jobs.database.connection import open_database  # noqa: PLC0415 - as above

                open_database(settings.database).dispose()  # name an unusable database before waiting for the worker
                supervisor.wait_until_ready()
                where = f"{default_url(settings)}{', and for other machines' if is_open(settings) else ''}"
                note(f"Drawerwright listens on {where}; data in {settings.data_dir}. Ctrl-C ends it.")
                serve_on(listener, settings)

"""``drawerwright keys``: make, list and revoke the keys of those who may ask, in the record of the settings."""

from contextlib import contextmanager
from enum import Enum
from typing import TYPE_CHECKING, Annotated, Any

import typer

from api.command.exit_codes import ending, print_json
from api.command.options import Machine
from api.command.terminal.display import note, show_keys
from worker.jobs.common.principal import Quotas
from worker.jobs.common.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from worker.jobs.records.api_keys import ApiKey, ApiKeys

__all__ = ["app"]

app = typer.Typer(name="keys", help="Make, list and revoke the keys of those who may ask.", no_args_is_help=True)


class _Choice(Enum):
    """The scopes, as the command line's parser takes them."""

    SUBMIT = "submit"
    READ = "read"
    RECORD = "record"
    ADMIN = "admin"
    KIOSK = "kiosk"


@app.command()
def create(
    name: Annotated[str, typer.Argument(help="Whose key it is, or for what.", show_default=False)],
    *,
    scope: Annotated[list[_Choice], typer.Option(help="What it may do; give it again for more.", show_default=False)],
    expires: Annotated[int | None, typer.Option(metavar="DAYS", min=1, help="Days after which it ends.")] = None,
    requests: Annotated[int | None, typer.Option(min=0, help="Requests in a minute; 0 sets no limit.")] = None,
    waiting: Annotated[int | None, typer.Option(min=0, help="Jobs queued or running; 0 sets no limit.")] = None,
    daily: Annotated[int | None, typer.Option(min=0, help="Jobs in a day; 0 sets no limit.")] = None,
    cells: Annotated[int | None, typer.Option(min=0, help="Cells of one job; 0: as the service allows.")] = None,
    most_bytes: Annotated[int | None, typer.Option("--bytes", min=0, help="Bytes kept; 0 sets no limit.")] = None,
    machine: Machine = False,
) -> None:
    """Make a key and show it, this once: nobody can look it up again."""
    with ending(machine=machine), _keys() as keys:
        quotas = Quotas(requests, waiting, daily, cells, most_bytes)
        key, secret = keys.create(name, [one.value for one in scope], quotas=quotas, days=expires)
        if machine:
            print_json({**_told(key), "key": secret.get_secret_value()})
            return
        typer.echo(secret.get_secret_value())
        note("Keep it now; it is shown once. Send it as: Authorization: Bearer " + f"dw_{key.id}_...")


@app.command(name="list")
def list_keys(*, machine: Machine = False) -> None:
    """List all keys, those that have ended among them."""
    with ending(machine=machine), _keys() as keys:
        told = [_told(key) for key in keys.list()]
        if machine:
            print_json({"keys": told})
        else:
            show_keys(told)


@app.command()
def revoke(
    key_id: Annotated[str, typer.Argument(metavar="ID", help="Which, as `keys list` names it.", show_default=False)],
    *,
    machine: Machine = False,
) -> None:
    """Take a key away; a service refuses it within a second or two. Its jobs stay."""
    with ending(machine=machine), _keys() as keys:
        key = keys.revoke(key_id)
        if machine:
            print_json(_told(key))
        else:
            note(f"The key {key.id} ({key.name}) is revoked.")


@contextmanager
def _keys() -> "Iterator[ApiKeys]":
    from worker.jobs.database.connection import open_database  # noqa: PLC0415 - the other commands need no database
    from worker.jobs.records.api_keys import ApiKeys  # noqa: PLC0415 - as above

    database = open_database(Settings.read().database)
    try:
        yield ApiKeys(database)
    finally:
        database.dispose()


def _told(key: "ApiKey") -> dict[str, Any]:
    from worker.jobs.database.db_clock import utc_now  # noqa: PLC0415 - as above

    moments = {name: getattr(key, name) for name in ("created", "expires", "revoked", "last_used")}
    return {
        "id": key.id,
        "name": key.name,
        "state": key.state(utc_now()),
        "scopes": list(key.scopes),
        "quotas": key.quotas.told(),
        **{name: None if moment is None else moment.isoformat(timespec="seconds") for name, moment in moments.items()},
    }

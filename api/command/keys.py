"""``drawerwright keys``: create, list and revoke API keys in the configured database."""

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

app = typer.Typer(name="keys", help="Create, list and revoke API keys.", no_args_is_help=True)


class _Choice(Enum):
    """Scopes as choices of an option."""

    SUBMIT = "submit"
    READ = "read"
    RECORD = "record"
    ADMIN = "admin"
    KIOSK = "kiosk"


@app.command()
def create(
    name: Annotated[str, typer.Argument(help="Name of the key's owner or purpose.", show_default=False)],
    *,
    scope: Annotated[list[_Choice], typer.Option(help="Permission to grant; repeatable.", show_default=False)],
    expires: Annotated[int | None, typer.Option(metavar="DAYS", min=1, help="Expire after this many days.")] = None,
    requests: Annotated[int | None, typer.Option(min=0, help="Requests per minute; 0: unlimited.")] = None,
    waiting: Annotated[int | None, typer.Option(min=0, help="Jobs queued or running at once; 0: unlimited.")] = None,
    daily: Annotated[int | None, typer.Option(min=0, help="Jobs per day; 0: unlimited.")] = None,
    cells: Annotated[int | None, typer.Option(min=0, help="Grid cells per job; 0: the service's own limit.")] = None,
    most_bytes: Annotated[int | None, typer.Option("--bytes", min=0, help="Bytes of storage; 0: unlimited.")] = None,
    machine: Machine = False,
) -> None:
    """Create a key and show its secret. The secret is stored only as a hash and cannot be shown again."""
    with ending(machine=machine), _keys() as keys:
        quotas = Quotas(requests, waiting, daily, cells, most_bytes)
        key, secret = keys.create(name, [choice.value for choice in scope], quotas=quotas, days=expires)
        if machine:
            print_json({**_key_document(key), "key": secret.get_secret_value()})
            return
        typer.echo(secret.get_secret_value())
        note(f"Save this key now: it is shown once. Send it as `Authorization: Bearer dw_{key.id}_...`")


@app.command(name="list")
def list_keys(*, machine: Machine = False) -> None:
    """List all keys, including expired and revoked ones."""
    with ending(machine=machine), _keys() as keys:
        documents = [_key_document(key) for key in keys.list()]
        if machine:
            print_json({"keys": documents})
        else:
            show_keys(documents)


@app.command()
def revoke(
    key_id: Annotated[
        str, typer.Argument(metavar="ID", help="Id of the key, as `keys list` shows it.", show_default=False)
    ],
    *,
    machine: Machine = False,
) -> None:
    """Revoke a key. Running services reject it within two seconds; its jobs are kept."""
    with ending(machine=machine), _keys() as keys:
        key = keys.revoke(key_id)
        if machine:
            print_json(_key_document(key))
        else:
            note(f"Revoked key {key.id} ({key.name}).")


@contextmanager
def _keys() -> "Iterator[ApiKeys]":
    from worker.jobs.database.connection import open_database  # noqa: PLC0415 - the other commands need no database
    from worker.jobs.records.api_keys import ApiKeys  # noqa: PLC0415 - as above

    database = open_database(Settings.read().database)
    try:
        yield ApiKeys(database)
    finally:
        database.dispose()


def _key_document(key: "ApiKey") -> dict[str, Any]:
    from worker.jobs.database.db_clock import utc_now  # noqa: PLC0415 - as above

    moments = {name: getattr(key, name) for name in ("created", "expires", "revoked", "last_used")}
    return {
        "id": key.id,
        "name": key.name,
        "state": key.state(utc_now()),
        "scopes": list(key.scopes),
        "quotas": key.quotas.limits(),
        **{name: None if moment is None else moment.isoformat(timespec="seconds") for name, moment in moments.items()},
    }

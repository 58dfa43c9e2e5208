"""Migrating: brings the record's tables to what this version expects, from whatever version made them."""

from typing import Final

from sqlalchemy import Connection, Engine, inspect, text

from worker.jobs.common.errors import SettingsError
from worker.jobs.database.tables import Base

__all__ = ["HEAD", "migrate"]

#: The last change in `worker.jobs.database.migrations.versions`.
HEAD: Final = "0004"

_VERSIONS: Final = "alembic_version"

#: Of the lock that processes which start together take in PostgreSQL; any number that nobody else uses.
_LOCK: Final = 0x64726177


def migrate(engine: Engine) -> None:
    """Make the tables in an empty database, or bring those that are there up to date.

    Several processes may do so at once: one does it and the others find it done.

    Raises:
        SettingsError: when the tables are not ours, or a later version made them.
    """
    with engine.begin() as connection:
        version = _version(connection)
        if version == HEAD:
            return
        alone = "BEGIN IMMEDIATE" if connection.dialect.name == "sqlite" else f"SELECT pg_advisory_xact_lock({_LOCK})"
        connection.exec_driver_sql(alone)
        version = _version(connection)
        if version is None:
            _begin(connection)
        elif version < HEAD:
            _upgrade(connection)
        elif version > HEAD:
            raise SettingsError(
                "The database was made by a later version of this program.",
                value=version, limit=f"at most {HEAD}", remedy="Start that version, or restore a backup.",
            )  # fmt: skip


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table(_VERSIONS):  # which looks anew each time
        return None
    version = connection.scalar(text(f"SELECT version_num FROM {_VERSIONS}"))  # noqa: S608 - a constant
    return None if version is None else str(version)


def _begin(connection: Connection) -> None:
    """Make all tables at once; a test holds this to the changes made one by one."""
    there = set(inspect(connection).get_table_names())
    if there & set(Base.metadata.tables):
        raise SettingsError(
            "The database has tables of no known version.",
            limit="an empty database, or one that this program made", remedy="Name another database or folder.",
        )  # fmt: skip
    Base.metadata.create_all(connection)
    connection.execute(text(f"CREATE TABLE {_VERSIONS} (version_num VARCHAR(32) NOT NULL PRIMARY KEY)"))
    connection.execute(text(f"INSERT INTO {_VERSIONS} VALUES ('{HEAD}')"))  # noqa: S608 - constants


def _upgrade(connection: Connection, version: str = HEAD) -> None:
    from alembic import command  # noqa: PLC0415 - half a second that an up to date database does not need
    from alembic.config import Config  # noqa: PLC0415 - as above

    config = Config()
    config.set_main_option("script_location", "worker.jobs.database:migrations")
    config.attributes["connection"] = connection
    command.upgrade(config, version)

"""Migrates the database to the schema of this version."""

from typing import Final

from sqlalchemy import Connection, Engine, inspect, text

from worker.jobs.common.errors import SettingsError
from worker.jobs.database.tables import Base

__all__ = ["HEAD", "migrate"]

#: The latest revision in `worker.jobs.database.migrations.versions`.
HEAD: Final = "0025"

_VERSIONS: Final = "alembic_version"

#: Key of the PostgreSQL advisory lock for concurrent migrations; an arbitrary number.
_LOCK: Final = 0x64726177


def migrate(engine: Engine) -> None:
    """Create the tables in an empty database, or migrate existing ones.

    Concurrent calls are safe: one process migrates, the others wait.

    Raises:
        SettingsError: if the tables belong to another program or a later version.
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
                "A later version of this program created the database.",
                value=version, limit=f"at most {HEAD}", remedy="Start that version, or restore a backup.",
            )  # fmt: skip


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table(_VERSIONS):  # not cached
        return None
    version = connection.scalar(text(f"SELECT version_num FROM {_VERSIONS}"))  # noqa: S608 - a constant
    return None if version is None else str(version)


def _begin(connection: Connection) -> None:
    """Create all tables at once; a test compares the result with that of the migrations."""
    there = set(inspect(connection).get_table_names())
    if there & set(Base.metadata.tables):
        raise SettingsError(
            "The tables in the database belong to another program.",
            limit="an empty database, or one of this program", remedy="Choose another database or folder.",
        )  # fmt: skip
    Base.metadata.create_all(connection)
    connection.execute(text(f"CREATE TABLE {_VERSIONS} (version_num VARCHAR(32) NOT NULL PRIMARY KEY)"))
    connection.execute(text(f"INSERT INTO {_VERSIONS} VALUES ('{HEAD}')"))  # noqa: S608 - constants


def _upgrade(connection: Connection, version: str = HEAD) -> None:
    from alembic import command  # noqa: PLC0415 - it takes 0.5 s, and an up-to-date database does not need it
    from alembic.config import Config  # noqa: PLC0415 - as above

    config = Config()
    config.set_main_option("script_location", "worker.jobs.database:migrations")
    config.attributes["connection"] = connection
    command.upgrade(config, version)

import subprocess
import sys
import warnings

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import create_engine, inspect, select, text

from worker.jobs.common.errors import SettingsError
from worker.jobs.database.connection import open_database
from worker.jobs.database.migrate import HEAD, _upgrade
from worker.jobs.database.tables import Base, BatchRow
from worker.jobs.records.print_events import PrintRecords


def _differences(database):
    with database.connect() as connection, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it cannot read every index of PostgreSQL back
        return compare_metadata(MigrationContext.configure(connection), Base.metadata)


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request, tmp_path):
    return (
        f"sqlite:///{tmp_path / 'jobs.sqlite3'}"
        if request.param == "sqlite"
        else request.getfixturevalue("postgresql")()
    )


def _engine(url):
    return create_engine(url.replace("postgresql://", "postgresql+psycopg://"))


def test_the_changes_one_by_one_make_the_tables_of_today(url):
    database = _engine(url)
    with database.begin() as connection:
        _upgrade(connection)
    assert _differences(database) == []
    with database.connect() as connection:
        assert connection.scalar(text("SELECT version_num FROM alembic_version")) == HEAD
    database.dispose()
    open_database(url).dispose()  # and has nothing left to do


_BEFORE = """
INSERT INTO jobs
    (id, name, state, spec, created, updated, attempts, progress_done, progress_total, owner, bytes, revision)
    VALUES ('j', '', 'succeeded', '{}', '2026-01-01 00:00:00', '2026-01-01 00:00:00', 0, 0, 0, 'o', 0, 1);
INSERT INTO print_states (job_id, revision, standing, repack, attempts, problem)
    VALUES ('j', 1, '{}', true, 3, '{"detail": "no"}');
INSERT INTO batches (id, owner, name, state, created, attempts)
    VALUES ('b', 'o', '', 'ended', '2026-01-01 00:00:00', 0);
INSERT INTO batch_files (batch_id, name, media_type, bytes, sha256, key)
    VALUES ('b', 'x', '', 3, '', 'x'), ('b', 'y', '', 4, '', 'y')
"""


def test_what_the_first_version_wrote_is_taken_along(url):
    database = _engine(url)
    with database.begin() as connection:
        _upgrade(connection, "0001")
        for statement in _BEFORE.split(";"):
            connection.exec_driver_sql(statement)
    database.dispose()
    database = open_database(url)
    with database.connect() as connection:
        assert connection.scalar(select(BatchRow.bytes)) == 7
    assert PrintRecords(database).waiting(quiet_seconds=60.0, limit=9) == ["j"]  # it was given up, and is tried again
    database.dispose()


def test_an_empty_database_gets_them_at_once(url):
    database = open_database(url)
    assert _differences(database) == []
    database.dispose()


def test_a_database_of_a_later_version_is_left_alone(url):
    open_database(url).dispose()
    database = _engine(url)
    with database.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(SettingsError, match="later version"):
        open_database(url)
    database.dispose()


def test_tables_of_somebody_else_are_left_alone(url):
    database = _engine(url)
    with database.begin() as connection:
        connection.execute(text("CREATE TABLE jobs (id INTEGER)"))
    with pytest.raises(SettingsError, match="another program"):
        open_database(url)
    assert [column["name"] for column in inspect(database).get_columns("jobs")] == ["id"]
    database.dispose()


def test_processes_that_start_together_make_the_tables_once(url):
    code = "import sys; from worker.jobs.database.connection import open_database; open_database(sys.argv[1]).dispose()"
    started = [subprocess.Popen([sys.executable, "-c", code, url], stderr=subprocess.PIPE) for _ in range(6)]
    errors = [process.communicate(timeout=120)[1] for process in started]
    assert [process.returncode for process in started] == [0] * 6, errors
    database = _engine(url)
    assert _differences(database) == []
    database.dispose()


@pytest.mark.parametrize("content", [b"no database at all" * 100, b"SQLite format 3\x00" + b"\xff" * 4096])
def test_a_damaged_file_is_named_with_the_way_back(tmp_path, content):
    path = tmp_path / "jobs.sqlite3"
    path.write_bytes(content)
    with pytest.raises(SettingsError, match="damaged") as error:
        open_database(f"sqlite:///{path}")
    assert "drawerwright restore" in error.value.remedy
    assert path.read_bytes() == content

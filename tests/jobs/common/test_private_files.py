import os
import sqlite3
import stat
import subprocess
import sys
from contextlib import closing

import pytest

from worker.jobs.common.private_files import create_private, private_folder
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.job_service import JobService
from worker.jobs.processes.supervisor import Supervisor


@pytest.fixture
def open_umask():
    """Let whatever is created be open to everybody."""
    before = os.umask(0)
    yield
    os.umask(before)


def _mode(path):
    return stat.S_IMODE(path.stat().st_mode)


@pytest.mark.usefixtures("open_umask")
def test_a_folder_is_created_closed_and_an_open_one_is_closed(tmp_path):
    folder = tmp_path / "new" / "data"
    private_folder(folder)
    assert _mode(folder) == 0o700
    folder.chmod(0o755)
    private_folder(folder)
    assert _mode(folder) == 0o700


@pytest.mark.usefixtures("open_umask")
def test_a_file_is_created_closed_and_keeps_its_content(tmp_path):
    path = tmp_path / "file"
    create_private(path)
    assert _mode(path) == 0o600
    path.write_text("kept")
    path.chmod(0o644)
    create_private(path)
    assert (_mode(path), path.read_text()) == (0o600, "kept")


@pytest.mark.usefixtures("open_umask")
def test_the_database_and_the_files_beside_it_are_closed(tmp_path):
    settings = Settings.read(data_dir=tmp_path / "data")
    with JobService.open(settings) as service:
        service.keys.create("somebody", ["read"])
        assert _mode(settings.data_dir) == 0o700
        assert _mode(settings.data_dir / "blobs") == 0o700
        files = sorted(settings.data_dir.glob("jobs.sqlite3*"))
        assert [path.name for path in files] == ["jobs.sqlite3", "jobs.sqlite3-shm", "jobs.sqlite3-wal"]
        assert {_mode(path) for path in files} == {0o600}


@pytest.mark.usefixtures("open_umask")
def test_a_database_elsewhere_is_closed_and_its_folder_left_alone(tmp_path):
    tmp_path.chmod(0o755)
    open_database(f"sqlite:///{tmp_path / 'own.sqlite3'}").dispose()
    assert _mode(tmp_path / "own.sqlite3") == 0o600
    assert _mode(tmp_path) == 0o755


@pytest.mark.service
@pytest.mark.usefixtures("open_umask")
def test_all_that_a_service_writes_is_closed(tmp_path, ended):
    from api.command.server import listening  # noqa: PLC0415 - for this alone
    from tests.faults.specs import small  # noqa: PLC0415 - as above

    settings = Settings.read(data_dir=tmp_path / "data", port=0)
    with Supervisor(settings), listening(settings), JobService.open(settings) as service:
        job = ended(service, service.submit(small(1)))
        assert job.state == "succeeded"
        everything = [path for path in settings.data_dir.rglob("*") if not path.is_socket()]
        assert len(everything) > 10
        open_ones = [path for path in everything if _mode(path) & 0o077]
    assert open_ones == []


def test_closing_files_is_the_whole_process(tmp_path):
    code = (
        "import os; from pathlib import Path; from worker.jobs.common.private_files import keep_files_private; "
        f"os.umask(0); keep_files_private(); Path({str(tmp_path / 'x')!r}).write_text(''); "
        f"Path({str(tmp_path / 'y')!r}).mkdir()"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
    assert (_mode(tmp_path / "x"), _mode(tmp_path / "y")) == (0o600, 0o700)


def test_sqlite_takes_the_mode_of_its_other_files_from_the_database(tmp_path):
    # the premise of `create_private` (sqlite3 source, findCreateFileMode; from memory)
    path = tmp_path / "x.sqlite3"
    create_private(path)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("CREATE TABLE t (a)")
        assert _mode(path.with_name("x.sqlite3-wal")) == 0o600

"""Backup and restore: all that the record names comes back as it was, and nothing else is touched."""

import json
import os
import stat
import zipfile
from hashlib import sha256

import pytest
from typer.testing import CliRunner

from api.command import app
from worker.jobs.common.errors import BlobMissing, SettingsError
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.maintenance.backup import back_up, restore
from worker.jobs.records.jobs import JobRecords
from worker.jobs.records.models import StoredFile


def _nothing(*_):
    pass


@pytest.fixture
def service(tmp_path):
    """Give a job service with one job that has two files, one that waits, and one that was removed; it runs on."""
    with JobService.open(Settings.read(data_dir=tmp_path / "data")) as job_service:
        yield job_service


@pytest.fixture
def filled(service):
    """Give the job with files, the one that waits, and the files' bytes by name."""
    records, blobs = service._records, service._blobs
    files = {"T1-tray.stl": os.urandom(300_000), "bill.csv": b"entry\n"}

    def made():
        job = records.add("bench left", "{}")
        stored = []
        for name, data in files.items():
            digest = sha256(data).hexdigest()
            blobs.put(f"jobs/{job.id}/{digest}", data)
            stored.append(StoredFile(name, "model/stl", len(data), digest, f"jobs/{job.id}/{digest}"))
        assert records.succeed(records.claim(job.id, lease_seconds=60.0, attempts=3), stored)
        return job.id

    job, removed = made(), made()
    service.remove(removed)
    return job, records.add("later", "{}").id, removed, files


def test_what_was_saved_comes_back(service, filled, tmp_path):
    job, waiting, removed, files = filled
    service.keys.create("shop", ["read"])
    archive = tmp_path / "backup.zip"
    reports = []
    kept = back_up(service.settings, archive, lambda *far: reports.append(far))
    assert (kept.jobs, kept.files, kept.bytes) == (2, 2, sum(map(len, files.values())))
    assert reports == [(0, 2), (1, 2), (2, 2)]
    assert stat.S_IMODE(archive.stat().st_mode) == 0o600
    assert sorted(path.name for path in tmp_path.iterdir()) == ["backup.zip", "data"]
    with zipfile.ZipFile(archive) as opened:
        assert opened.testzip() is None
    settings = Settings.read(data_dir=tmp_path / "again")
    assert restore(settings, archive, _nothing) == kept
    with JobService.open(settings) as again:
        for name, data in files.items():
            assert b"".join(again.read(again.file(job, name))) == data
        assert again.job(job) == service.job(job)
        assert again.job(waiting).state == "queued"
        assert removed not in {left.id for left in again.jobs()}
        assert [key.name for key in again.keys.list()] == ["shop"]


def test_a_service_at_work_is_saved_as_of_one_moment(service, filled, tmp_path):
    records = JobRecords(service._database)
    with records._engine.begin() as connection:  # somebody writes meanwhile
        connection.exec_driver_sql("UPDATE jobs SET progress_done = 7")
        back_up(service.settings, tmp_path / "backup.zip", _nothing)
    settings = Settings.read(data_dir=tmp_path / "again")
    restore(settings, tmp_path / "backup.zip", _nothing)
    with JobService.open(settings) as again:
        assert again.job(filled[0]).progress.done == 0


@pytest.mark.parametrize("change", ["missing", "damaged"])
def test_a_file_that_is_lost_is_told_and_leaves_no_archive(service, filled, tmp_path, change):
    file = service.file(filled[0], "T1-tray.stl")
    if change == "missing":
        service._blobs.delete(file.key)
    else:
        service._blobs.put(file.key, b"x" * file.bytes)
    with pytest.raises(BlobMissing) as lost:
        back_up(service.settings, tmp_path / "backup.zip", _nothing)
    assert lost.value.value == file.key
    assert [path.name for path in tmp_path.iterdir()] == ["data"]


@pytest.mark.usefixtures("filled")
def test_nothing_is_written_over(service, tmp_path):
    archive = tmp_path / "backup.zip"
    archive.write_bytes(b"mine")
    with pytest.raises(SettingsError, match="already"):
        back_up(service.settings, archive, _nothing)
    assert archive.read_bytes() == b"mine"
    back_up(service.settings, tmp_path / "other.zip", _nothing)
    with pytest.raises(SettingsError, match="not empty"):
        restore(service.settings, tmp_path / "other.zip", _nothing)


@pytest.mark.usefixtures("filled")
@pytest.mark.parametrize("damage", ["cut", "flipped", "no list", "no zip", "later", "without a file"])
def test_a_damaged_archive_gives_no_record(service, tmp_path, damage):
    archive = tmp_path / "backup.zip"
    back_up(service.settings, archive, _nothing)
    data = bytearray(archive.read_bytes())
    with zipfile.ZipFile(archive) as opened:
        content = {entry.filename: opened.read(entry) for entry in opened.infolist()}
    match damage:
        case "cut":
            archive.write_bytes(data[: len(data) // 2])
        case "flipped":
            data[100_000] ^= 1
            archive.write_bytes(data)
        case "no zip":
            archive.write_bytes(b"PK")
        case _:
            if damage == "later":
                content["backup.json"] = json.dumps({**json.loads(content["backup.json"]), "format": "9"}).encode()
            else:
                del content["backup.json" if damage == "no list" else next(iter(content))]
            with zipfile.ZipFile(archive, "w") as opened:
                for name, member in content.items():
                    opened.writestr(name, member)
    settings = Settings.read(data_dir=tmp_path / "again")
    with pytest.raises(SettingsError):
        restore(settings, archive, _nothing)
    assert not any((tmp_path / "again").glob("*"))


def test_a_record_elsewhere_is_for_its_own_tools(tmp_path):
    settings = Settings.read(data_dir=tmp_path, database_url="postgresql://u@h/d")
    with pytest.raises(SettingsError, match="not in the data folder"):
        back_up(settings, tmp_path / "x.zip", _nothing)


@pytest.mark.usefixtures("filled")
def test_on_the_command_line(service, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DRAWERWRIGHT_DATA_DIR", str(service.settings.data_dir))
    runner = CliRunner()
    result = runner.invoke(app, ["backup", "day.zip", "--json"])
    assert (result.exit_code, json.loads(result.stdout)["files"]) == (0, 2)
    assert runner.invoke(app, ["backup", "day.zip"]).exit_code == 2
    assert runner.invoke(app, ["restore", "day.zip"]).exit_code == 2
    result = runner.invoke(app, ["restore", "day.zip", "--data", "again"])
    assert result.exit_code == 0
    assert "2 jobs with 2 files" in result.stderr
    assert runner.invoke(app, ["restore", "nowhere.zip", "--data", "more"]).exit_code == 1

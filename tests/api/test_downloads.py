import hashlib

import pytest

from api.command.client import Client
from api.command.downloads import DownloadDamaged, entries, fetch
from api.command.listening import listening
from worker.spec.manifest import Check, FileEntry, Generator, Manifest, PartEntry


def _entry(name, data, sha256=None):
    checksum = sha256 or hashlib.sha256(data).hexdigest()
    return FileEntry(name=name, media_type="model/stl", bytes=len(data), sha256=checksum)


def _manifest(*files, bundle=None):
    part = PartEntry(
        mark="F1", kind="tile", name="tile 1 x 1", quantity=1, size=(42.0, 42.0, 3.0), triangles=12, volume=900.0,
        area=700.0, digest="0" * 64, checks=(Check(name="closed", passed=True, limit="closed"),), files=files,
    )  # fmt: skip
    return Manifest(
        generator=Generator(version="1", kernel="none 1"), name="bench", spec_digest="0" * 64, drawers=(),
        parts=(part,), assembly=(), warnings=(), cautions=(), bundle=bundle,
    )  # fmt: skip


@pytest.fixture(scope="module")
def client(settings):
    with listening(settings.model_copy(update={"port": 0})) as url, Client(url) as client:
        yield client


@pytest.fixture
def job(succeeded):
    """Give a function that ends a job with these files, as its manifest says or, with ``lies``, not."""

    def make(files, lies=()):
        named = [_entry(name, data, "1" * 64 if name in lies else None) for name, data in files.items()]
        manifest = _manifest(*named, bundle=_entry("bundle.zip", b"PK"))
        return succeeded(**files, **{"bundle.zip": b"PK", "manifest.json": manifest.model_dump_json().encode()})

    return make


def test_all_files_arrive_as_they_are(client, job, tmp_path):
    files = {"F1-tile.stl": b"solid" * 100_000, "F1-tile.3mf": b"PK3"}
    told = []
    manifest, paths = fetch(
        client, job(files), tmp_path / "new" / "out", lambda done, total: told.append((done, total))
    )
    assert told == [(0, 3), (1, 3), (2, 3), (3, 3)]
    assert {path.name for path in paths} == {*files, "bundle.zip", "manifest.json"}
    assert {path.name: path.read_bytes() for path in paths if path.name in files} == files
    assert set((tmp_path / "new" / "out").iterdir()) == set(paths)
    assert [entry.name for entry in entries(manifest)] == ["F1-tile.stl", "F1-tile.3mf", "bundle.zip"]


def test_a_damaged_file_is_refused_and_what_was_there_stays(client, job, tmp_path):
    (tmp_path / "F1-tile.stl").write_bytes(b"before")
    with pytest.raises(DownloadDamaged, match=r"F1-tile\.stl"):
        fetch(client, job({"F1-tile.stl": b"solid"}, lies=["F1-tile.stl"]), tmp_path, lambda *_: None)
    assert (tmp_path / "F1-tile.stl").read_bytes() == b"before"
    assert [path.name for path in tmp_path.iterdir()] == ["F1-tile.stl"]


def test_files_of_the_job_before_go_unless_somebody_changed_them(client, job, tmp_path):
    first = {"F1-tile.stl": b"one", "F2-tile.stl": b"two", "F3-tile.stl": b"three"}
    fetch(client, job(first), tmp_path, lambda *_: None)
    (tmp_path / "F3-tile.stl").write_bytes(b"changed by hand")
    (tmp_path / "notes.txt").write_text("mine")
    fetch(client, job({"F1-tile.stl": b"another"}), tmp_path, lambda *_: None)
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "F1-tile.stl", "F3-tile.stl", "bundle.zip", "manifest.json", "notes.txt",
    ]  # fmt: skip
    assert (tmp_path / "F1-tile.stl").read_bytes() == b"another"


def test_a_file_of_another_program_in_the_manifests_place_is_no_manifest(client, job, tmp_path):
    (tmp_path / "manifest.json").write_text('{"parts": [{"files": [{"name": "../x"}]}]}')
    fetch(client, job({"F1-tile.stl": b"one"}), tmp_path, lambda *_: None)
    assert (tmp_path / "F1-tile.stl").read_bytes() == b"one"

"""Archives of batches put together from a store."""

import io
import random
import tracemalloc
import zipfile

import pytest
from obstore.store import LocalStore, MemoryStore

from worker.jobs.common.errors import BlobMissing
from worker.jobs.files import batch_archive, verified_read
from worker.jobs.files.batch_archive import BatchArchives
from worker.jobs.files.object_store import ObjectStore
from worker.jobs.files.stored_files import store_file
from worker.output.bundle.zip_writer import Entry, write_zip
from worker.spec.manifest import JSON_TYPE, THREEMF_TYPE, ZIP_TYPE


@pytest.fixture
def blobs():
    return ObjectStore(MemoryStore())


def _bundle(blobs, name, files):
    data = write_zip([Entry(path, content, packed=True) for path, content in files.items()])
    return store_file(blobs, f"jobs/{name}", "bundle.zip", ZIP_TYPE, data)


@pytest.fixture
def parts(blobs):
    """The files of a batch, and the bundles of two jobs with their folders."""
    own = [
        store_file(blobs, "batches/b", "manifest.json", JSON_TYPE, b"{}"),
        store_file(blobs, "batches/b", "run-01.3mf", THREEMF_TYPE, b"run"),
    ]
    noise = random.Random(7)
    bundles = [
        ("001-left", _bundle(blobs, "1", {"manifest.json": b"1", "parts/t1.stl": noise.randbytes(5_000)})),
        ("003-right", _bundle(blobs, "2", {"manifest.json": b"2", "parts/t1.stl": noise.randbytes(7_000)})),
    ]
    return own, bundles


def _whole(archive):
    return b"".join(archive.read(0, archive.size))


def test_a_folder_for_each_job_and_the_batch_at_the_root(blobs, parts):
    archive = BatchArchives(blobs).archive(*parts)
    with zipfile.ZipFile(io.BytesIO(_whole(archive))) as opened:
        assert opened.testzip() is None
        assert opened.namelist() == [
            "manifest.json", "runs/run-01.3mf",
            "001-left/manifest.json", "001-left/parts/t1.stl", "003-right/manifest.json", "003-right/parts/t1.stl",
        ]  # fmt: skip
        assert opened.read("runs/run-01.3mf") == b"run"
        assert opened.read("003-right/manifest.json") == b"2"


@pytest.mark.parametrize("large", [False, True], ids=["verified in memory", "verified while streamed"])
def test_any_range_is_that_of_the_whole(blobs, parts, monkeypatch, large):
    if large:
        monkeypatch.setattr(verified_read, "_AT_ONCE", 100)
    monkeypatch.setattr(batch_archive, "_TAIL", 50)  # the directory of a bundle starts before its last bytes
    archive = BatchArchives(blobs).archive(*parts)
    whole = _whole(archive)
    assert len(whole) == archive.size
    choice = random.Random(3)
    for _ in range(200):
        start = choice.randrange(archive.size)
        end = choice.randrange(start, archive.size + 1)
        assert b"".join(archive.read(start, end)) == whole[start:end], (start, end)


def test_the_digest_tells_whether_the_content_is_the_same(blobs, parts):
    own, bundles = parts
    archives = BatchArchives(blobs)
    digest = archives.archive(own, bundles).digest
    assert BatchArchives(blobs).archive(own, bundles).digest == digest
    changed = [(own, bundles[:1]), (own[:1], bundles), (own, [("004-left", bundles[0][1]), bundles[1]])]
    assert len({digest, *(archives.archive(*each).digest for each in changed)}) == 4


@pytest.mark.parametrize("large", [False, True], ids=["verified in memory", "verified while streamed"])
def test_a_damaged_bundle_never_arrives_whole(blobs, parts, monkeypatch, large):
    if large:
        monkeypatch.setattr(verified_read, "_AT_ONCE", 100)
    own, bundles = parts
    archive = BatchArchives(blobs).archive(own, bundles)
    whole = _whole(archive)
    key = bundles[1][1].key
    data = bytearray(blobs.get(key))
    data[300] ^= 1
    blobs.put(key, bytes(data))
    arrived = bytearray()
    with pytest.raises(BlobMissing, match="damaged"):
        arrived.extend(byte for chunk in archive.read(0, archive.size) for byte in chunk)
    assert len(arrived) < archive.size
    with pytest.raises(BlobMissing, match="damaged"):
        b"".join(archive.read(whole.index(b"003-right/parts/t1.stl") + 100, archive.size))
    assert b"".join(archive.read(0, 50)) == whole[:50]  # what comes before it is not its matter


def test_a_bundle_that_is_gone_or_none_is_reported_before_the_first_byte(blobs, parts):
    own, bundles = parts
    broken = store_file(blobs, "jobs/3", "bundle.zip", ZIP_TYPE, b"no archive at all")
    with pytest.raises(BlobMissing, match="damaged"):
        BatchArchives(blobs).archive(own, [*bundles, ("004-x", broken)])
    blobs.delete(bundles[0][1].key)
    with pytest.raises(BlobMissing):
        BatchArchives(blobs).archive(own, bundles)


def test_memory_does_not_grow_with_the_bundles(tmp_path, monkeypatch):
    """Two archives, one of ten times the bytes of the other, take the same memory at their peak, but for a chunk."""
    monkeypatch.setattr(verified_read, "_AT_ONCE", 100)
    blobs, peaks = ObjectStore(LocalStore(tmp_path)), []
    for name, size in (("s", 2**20), ("l", 10 * 2**20)):
        own = [store_file(blobs, "batches/b", "manifest.json", JSON_TYPE, b"{}")]
        bundles = [(f"00{k}-x", _bundle(blobs, f"{name}{k}", {"t": bytes(size)})) for k in range(3)]
        archive = BatchArchives(blobs).archive(own, bundles)
        tracemalloc.start()
        total = sum(len(chunk) for chunk in archive.read(0, archive.size))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert total == archive.size
    assert peaks[1] < peaks[0] + 2**20, peaks

"""Blobs: bytes by key, in a folder and in an S3-compatible store."""

import pytest

from worker.jobs.common.errors import BlobMissing, SettingsError
from worker.jobs.common.settings import Settings
from worker.jobs.files.object_store import ObjectStore

pytestmark = pytest.mark.service

_KEY = "parts/ab/abcd/0123.stl"


def test_what_was_put_is_there(blobs):
    data = bytes(range(256)) * 5000
    blobs.put(_KEY, data)
    assert blobs.get(_KEY) == data
    assert blobs.size(_KEY) == len(data)
    assert b"".join(blobs.read(_KEY, 0, len(data))) == data


@pytest.mark.parametrize(("start", "end"), [(0, 1), (0, 1000), (10, 20), (999, 1000), (500, 500)])
def test_a_range_is_read(blobs, start, end):
    data = bytes(number % 251 for number in range(1000))
    blobs.put(_KEY, data)
    assert b"".join(blobs.read(_KEY, start, end)) == data[start:end]


def test_a_key_may_be_put_again(blobs):
    blobs.put(_KEY, b"harmed")
    blobs.put(_KEY, b"whole")
    assert blobs.get(_KEY) == b"whole"


def test_what_is_not_there_is_missed_at_once(blobs):
    for ask in (blobs.get, blobs.size, lambda key: blobs.read(key, 0, 1), lambda key: blobs.read(key, 0, 0)):
        with pytest.raises(BlobMissing) as caught:
            ask(_KEY)
        assert caught.value.value == _KEY


def test_what_is_deleted_is_gone(blobs):
    blobs.put(_KEY, b"x")
    blobs.delete(_KEY)
    blobs.delete(_KEY)
    with pytest.raises(BlobMissing):
        blobs.get(_KEY)


@pytest.mark.parametrize("url", ["nowhere", "ftp://host/x", "s3://", "file:///dev/null/x"])
def test_a_store_that_cannot_be_opened_is_a_setting(url, tmp_path):
    with pytest.raises(SettingsError):
        ObjectStore.open(Settings.read(data_dir=tmp_path, blob_url=url))

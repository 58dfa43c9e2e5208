"""Stored files are damaged: nobody gets them as good, and what is damaged is built again."""

import os
from hashlib import sha256
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import pytest
from sqlalchemy import insert

from tests.faults.specs import small
from worker.jobs.common.errors import BlobMissing
from worker.jobs.database.tables import JobFileRow
from worker.jobs.records.models import StoredFile

pytestmark = pytest.mark.service


def _path(struck, file):
    return Path(urlsplit(struck.settings.blobs).path) / file.key


def _flip(path):
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0x10
    path.write_bytes(data)


def _truncate(path):
    os.truncate(path, path.stat().st_size // 2)


def _write_zeros(path):
    path.write_bytes(bytes(path.stat().st_size))


@pytest.mark.parametrize(("number", "damage"), list(enumerate([_flip, _truncate, _write_zeros])))
def test_a_damaged_part_is_not_served_and_is_built_again(struck, job_service, succeeds, number, damage):
    spec = small(20 + number)
    job = job_service.submit(spec)
    succeeds(struck, job_service, job, spec)
    file = next(entry for entry in job_service.files(job.id) if entry.name.endswith("-tray.stl"))
    damage(_path(struck, file))
    address = f"{struck.addresses['api']}/v1/jobs/{job.id}/files/{file.name}"
    for headers in ({}, {"Range": "bytes=0-99"}):
        answer = httpx.get(address, headers=headers)
        assert answer.status_code == 500
        problem = answer.json()
        assert problem["title"] == "A stored file is damaged." or "damaged" in problem["detail"]
    again = job_service.submit(spec)
    succeeds(struck, job_service, again, spec)
    answer = httpx.get(address)  # one store for both jobs
    assert (answer.status_code, sha256(answer.content).hexdigest()) == (200, file.sha256)


def test_a_large_damaged_file_never_arrives_whole(struck, job_service, succeeds):
    spec = small(19)
    job = job_service.submit(spec)
    succeeds(struck, job_service, job, spec)
    data = bytes(9 * 2**20)
    file = StoredFile("large.bin", "application/octet-stream", len(data), "ab" * 32, f"jobs/{job.id}/large")
    job_service._blobs.put(file.key, data)
    with job_service._database.begin() as connection:
        values = {name: getattr(file, name) for name in ("name", "media_type", "bytes", "sha256", "key")}
        connection.execute(insert(JobFileRow).values(job_id=job.id, **values))
    address = f"{struck.addresses['api']}/v1/jobs/{job.id}/files/{file.name}"
    with pytest.raises(httpx.RemoteProtocolError):
        httpx.get(address)
    assert httpx.get(address, headers={"Range": "bytes=0-99"}).status_code == 500
    with pytest.raises(BlobMissing):
        list(job_service.read(file))

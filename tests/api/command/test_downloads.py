import hashlib
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread

import httpx
import pytest

from api.command.server import listening
from api.command.service import downloads
from api.command.service.client import Client, ServiceUnreachable
from api.command.service.downloads import DownloadDamaged, entries, fetch
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
    """Return a function that ends a job with these files, as its manifest says or, with ``lies``, not."""

    def make(files, lies=()):
        named = [_entry(name, data, "1" * 64 if name in lies else None) for name, data in files.items()]
        manifest = _manifest(*named, bundle=_entry("bundle.zip", b"PK"))
        return succeeded(**files, **{"bundle.zip": b"PK", "manifest.json": manifest.model_dump_json().encode()})

    return make


def test_all_files_arrive_unchanged(client, job, tmp_path):
    files = {"F1-tile.stl": b"solid" * 100_000, "F1-tile.3mf": b"PK3"}
    requests = []
    manifest, paths = fetch(
        client, job(files), tmp_path / "new" / "out", lambda done, total: requests.append((done, total))
    )
    assert requests == [(0, 3), (1, 3), (2, 3), (3, 3)]
    assert {path.name for path in paths} == {*files, "bundle.zip", "manifest.json"}
    assert {path.name: path.read_bytes() for path in paths if path.name in files} == files
    assert set((tmp_path / "new" / "out").iterdir()) == set(paths)
    assert [entry.name for entry in entries(manifest)] == ["F1-tile.stl", "F1-tile.3mf", "bundle.zip"]


def test_a_damaged_file_is_refused_and_the_old_one_is_kept(client, job, tmp_path):
    (tmp_path / "F1-tile.stl").write_bytes(b"before")
    with pytest.raises(DownloadDamaged, match=r"F1-tile\.stl"):
        fetch(client, job({"F1-tile.stl": b"solid"}, lies=["F1-tile.stl"]), tmp_path, lambda *_: None)
    assert (tmp_path / "F1-tile.stl").read_bytes() == b"before"
    assert [path.name for path in tmp_path.iterdir()] == ["F1-tile.stl"]


def test_files_of_an_earlier_job_are_deleted_unless_modified(client, job, tmp_path):
    first = {"F1-tile.stl": b"one", "F2-tile.stl": b"two", "F3-tile.stl": b"three"}
    fetch(client, job(first), tmp_path, lambda *_: None)
    (tmp_path / "F3-tile.stl").write_bytes(b"changed by hand")
    (tmp_path / "notes.txt").write_text("mine")
    fetch(client, job({"F1-tile.stl": b"another"}), tmp_path, lambda *_: None)
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "F1-tile.stl", "F3-tile.stl", "bundle.zip", "manifest.json", "notes.txt",
    ]  # fmt: skip
    assert (tmp_path / "F1-tile.stl").read_bytes() == b"another"


def test_a_foreign_manifest_file_is_replaced(client, job, tmp_path):
    (tmp_path / "manifest.json").write_text('{"parts": [{"files": [{"name": "../x"}]}]}')
    fetch(client, job({"F1-tile.stl": b"one"}), tmp_path, lambda *_: None)
    assert (tmp_path / "F1-tile.stl").read_bytes() == b"one"


class _Lossy:
    """Stands between a client and a service, and breaks a file's answer off after some bytes, some times."""

    def __init__(self, url, *, after, times, spoil=False):
        lossy = self
        self.asked = []

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                lossy.asked.append((self.path, self.headers.get("Range"), self.headers.get("If-Range")))
                headers = {name: value for name, value in self.headers.items() if name.lower() != "host"}
                answer = httpx.get(url + self.path, headers=headers, trust_env=False)
                cut = "/files/" in self.path and lossy.left > 0
                lossy.left -= cut
                self.send_response(answer.status_code)
                for name in ("content-type", "content-length", "content-range", "etag"):
                    if name in answer.headers:
                        self.send_header(name, answer.headers[name])
                self.end_headers()
                data = bytes(len(answer.content)) if cut and spoil else answer.content
                self.wfile.write(data[:after] if cut else answer.content)
                self.close_connection = True

            def log_message(self, *_):
                pass

        self.left = times
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_port}"
        self._thread = Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.01})
        self._thread.start()

    def close(self):
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


@pytest.fixture
def lossy(client):
    """Return a function that makes a client behind such a loss, and what it is asked."""
    made = []

    def begin(**options):
        made.append(_Lossy(client.url, **options))
        made.append(Client(made[-1].url))
        return made[-1], made[-2].asked

    yield begin
    for server in reversed(made):
        server.__exit__() if isinstance(server, Client) else server.close()


def _spans(requests):
    return [(span, tag) for path, span, tag in requests if "/files/" in path]


def test_a_download_resumes_after_a_lost_connection(lossy, job, tmp_path):
    data = bytes(range(256)) * 4_000
    url, requests = lossy(after=300_000, times=3)
    fetch(url, job({"F1-tile.stl": data}), tmp_path, lambda *_: None)
    assert (tmp_path / "F1-tile.stl").read_bytes() == data
    tag = f'"{hashlib.sha256(data).hexdigest()}"'
    starts = [span and int(span.removeprefix("bytes=").rstrip("-")) for span, _ in _spans(requests)]
    assert starts[0] is None
    assert starts[1:] == sorted(starts[1:])
    assert len(starts) == 4
    assert {condition for _, condition in _spans(requests)[1:]} == {tag}
    assert not list(tmp_path.glob(".*.part"))


def test_a_partial_file_of_an_earlier_attempt_is_resumed(lossy, job, tmp_path, monkeypatch):
    monkeypatch.setattr(downloads, "_BACKOFF", (0.0, 0.0))
    data = bytes(range(256)) * 4_000
    made = job({"F1-tile.stl": data})
    url, requests = lossy(after=0, times=100)
    part = tmp_path / f".F1-tile.stl.{hashlib.sha256(data).hexdigest()[:16]}.part"
    part.write_bytes(data[:500_000])
    with pytest.raises(ServiceUnreachable):
        fetch(url, made, tmp_path, lambda *_: None)
    assert [span for span, _ in _spans(requests)] == ["bytes=500000-"] * 3  # bounded
    assert part.read_bytes() == data[:500_000]
    url, requests = lossy(after=0, times=0)
    fetch(url, made, tmp_path, lambda *_: None)
    assert [span for span, _ in _spans(requests)] == ["bytes=500000-"]
    assert (tmp_path / "F1-tile.stl").read_bytes() == data
    fetch(url, made, tmp_path, lambda *_: None)
    assert len(_spans(requests)) == 1  # it is there


@pytest.mark.parametrize("left", [b"x" * 5, b"x" * 5_000_000, b"x" * 1_024_000])
def test_a_damaged_partial_file_is_downloaded_again(lossy, job, tmp_path, left):
    data = bytes(range(256)) * 4_000
    url, _ = lossy(after=0, times=0)
    (tmp_path / f".F1-tile.stl.{hashlib.sha256(data).hexdigest()[:16]}.part").write_bytes(left)
    fetch(url, job({"F1-tile.stl": data}), tmp_path, lambda *_: None)
    assert (tmp_path / "F1-tile.stl").read_bytes() == data


def test_a_file_damaged_in_transit_is_downloaded_again(lossy, job, tmp_path):
    data = bytes(range(256)) * 400
    url, _ = lossy(after=60_000, times=1, spoil=True)
    fetch(url, job({"F1-tile.stl": data}), tmp_path, lambda *_: None)
    assert (tmp_path / "F1-tile.stl").read_bytes() == data

"""The service on a real socket."""

import http.client
import json
import socket
import time
from threading import Event
from urllib.parse import urlsplit

import httpx
import pytest

from api.command.listener import listen
from api.command.server import listening
from worker.jobs.common.errors import SettingsError
from worker.jobs.common.settings import Settings
from worker.jobs.job_service import JobService
from worker.jobs.processes.process_host import broker
from worker.jobs.records.jobs import JobRecords


def _raw(url, request):
    """Return the status line and headers of the answer to these very bytes."""
    with socket.create_connection(("127.0.0.1", urlsplit(url).port), timeout=10) as connection:
        connection.sendall(request)
        answer = http.client.HTTPResponse(connection)
        answer.begin()
        return answer.status, answer.read()


def test_head_sends_no_body(url):
    with socket.create_connection(("127.0.0.1", urlsplit(url).port), timeout=10) as connection:
        connection.sendall(b"HEAD /v1/jobs HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        received = b""
        while piece := connection.recv(4096):
            received += piece
    assert received.startswith(b"HTTP/1.1 200 ")
    assert received.endswith(b"\r\n\r\n")


def test_an_http_1_0_request_needs_no_host(url):
    status, body = _raw(url, b"GET /nope HTTP/1.0\r\n\r\n")
    assert status == 404
    assert f"{url}/problems/address-unknown".encode() in body


def test_a_body_announced_as_too_large_is_refused_before_it_is_sent(url):
    head = (
        b"POST /v1/jobs HTTP/1.1\r\nHost: [::1]\r\nContent-Type: application/json\r\nContent-Length: 99999999\r\n\r\n"
    )
    status, _ = _raw(url, head)
    assert status == 413


def test_a_client_that_goes_away_breaks_nothing(url):
    with socket.create_connection(("127.0.0.1", urlsplit(url).port), timeout=10) as connection:
        connection.sendall(
            b"POST /v1/jobs HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 50\r\n\r\n{"
        )
    assert httpx.get(f"{url}/livez", trust_env=False).status_code == 200


def test_a_reader_that_stops_half_way_breaks_nothing(url, succeeded):
    job = succeeded(**{"F1-tile.stl": bytes(5_000_000)})
    with httpx.stream("GET", f"{url}/v1/jobs/{job}/files/F1-tile.stl", trust_env=False) as answer:
        next(answer.iter_raw())
    assert httpx.get(f"{url}/livez", trust_env=False).status_code == 200


def test_the_server_stops_in_time(settings):
    with listening(settings.model_copy(update={"port": 0})) as address:
        assert httpx.get(f"{address}/livez", trust_env=False).status_code == 200
        began = time.monotonic()
    assert time.monotonic() - began < 10.0
    with pytest.raises(httpx.ConnectError):
        httpx.get(f"{address}/livez", trust_env=False)


def test_an_unavailable_address_is_reported():
    with pytest.raises(SettingsError, match="Cannot listen"):
        listen("192.0.2.1", 0)  # RFC 5737: nobody's own


def test_no_answer_on_a_kept_connection_waits_for_an_acknowledgement():
    with listen("127.0.0.1", 0) as listener, socket.create_connection(listener.getsockname()):
        connection, _ = listener.accept()
        with connection:
            assert connection.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def test_a_job_is_published_although_its_client_disconnected(tmp_path, spec, until, monkeypatch):
    settings = Settings.read(data_dir=tmp_path, port=0)
    body = json.dumps(spec).encode()
    head = f"Host: [::1]\r\nContent-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    kept, begun, gone = JobRecords.add, Event(), Event()

    def keep(*arguments, **options):
        begun.set()
        assert gone.wait(10)
        return kept(*arguments, **options)

    monkeypatch.setattr(JobRecords, "add", keep)
    with broker(settings.socket), JobService.open(settings) as job_service:
        messages = job_service.dispatcher.queue_length
        with listening(settings) as address:
            with socket.create_connection(("127.0.0.1", urlsplit(address).port), timeout=10) as connection:
                connection.sendall(b"POST /v1/jobs HTTP/1.1\r\n" + head.encode() + body)
                assert begun.wait(10)
            gone.set()
            assert until(lambda: messages() == 1)
            for _ in range(3):
                assert httpx.post(f"{address}/v1/jobs", json=spec, trust_env=False).status_code == 202
        # though the service ended in the moment after its last answer; jobs that arrive together share a message
        assert JobRecords(job_service._database).waiting(quiet_seconds=60.0, limit=9) == []
        assert 2 <= messages() <= 4

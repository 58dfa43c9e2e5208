import base64
import hashlib
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

DATA = random.Random(5).randbytes(600_001)  # more than two pieces of the store
SHA = hashlib.sha256(DATA).hexdigest()
ETAG = f'"{SHA}"'


@pytest.fixture(scope="module")
def address(succeeded):
    job = succeeded(**{"T1-tray.stl": DATA, "manifest.json": b"{}", "bundle.zip": b"PK"})
    return f"/v1/jobs/{job}/files/T1-tray.stl"


def test_a_file_comes_whole_with_all_that_is_known_of_it(service, address):
    answer = service.get(address)
    assert answer.status_code == 200
    assert answer.content == DATA
    headers = answer.headers
    assert headers["content-type"] == "model/stl"
    assert headers["content-length"] == str(len(DATA))
    assert headers["etag"] == ETAG
    assert headers["accept-ranges"] == "bytes"
    assert headers["content-disposition"] == 'attachment; filename="T1-tray.stl"'
    assert headers["cache-control"] == "private, max-age=31536000, immutable"
    assert headers["x-content-type-options"] == "nosniff"
    # RFC 9530, 3: a structured field dictionary with the digest as a byte sequence
    assert headers["repr-digest"] == f"sha-256=:{base64.b64encode(hashlib.sha256(DATA).digest()).decode()}:"


def test_head_says_the_same_and_sends_nothing(service, address):
    whole, head = service.get(address), service.head(address)
    assert head.status_code == 200
    assert head.content == b""
    each = {"x-request-id", "ratelimit"}  # of one request
    assert {k: v for k, v in head.headers.items() if k not in each} == {
        k: v for k, v in whole.headers.items() if k not in each
    }


def test_head_takes_no_notice_of_a_range(service, address):
    assert service.head(address, headers={"Range": "bytes=0-9"}).status_code == 200  # RFC 9110, 14.2


@pytest.mark.parametrize("name", ["manifest", "bundle.zip"])
def test_manifest_and_bundle_are_files_too(service, address, name):
    at = address.replace("files/T1-tray.stl", name)
    answer = service.get(at, headers={"Range": "bytes=1-1"})
    assert answer.status_code == 206
    assert len(answer.content) == 1
    assert service.head(at).headers["etag"] == answer.headers["etag"]


@pytest.mark.parametrize("tags", [ETAG, f"W/{ETAG}", f'"x", {ETAG}', "*"])
def test_what_the_client_has_is_not_sent_again(service, address, tags):
    answer = service.get(address, headers={"If-None-Match": tags, "Range": "bytes=0-1"})
    assert answer.status_code == 304
    assert answer.content == b""
    assert answer.headers["etag"] == ETAG
    assert answer.headers["cache-control"].endswith("immutable")


def test_another_tag_is_sent_the_file(service, address):
    assert service.get(address, headers={"If-None-Match": '"x"'}).content == DATA


def test_a_precondition_holds_or_fails(service, address):
    assert service.get(address, headers={"If-Match": ETAG}).status_code == 200
    answer = service.get(address, headers={"If-Match": f'"x", W/{ETAG}'})
    assert answer.status_code == 412
    assert answer.json()["type"].endswith("/problems/precondition-failed")


@pytest.mark.parametrize(
    ("condition", "status"),
    [(ETAG, 206), ('"x"', 200), (f"W/{ETAG}", 200), ("Wed, 21 Oct 2015 07:28:00 GMT", 200)],
)
def test_a_range_may_hang_on_the_tag(service, address, condition, status):
    answer = service.get(address, headers={"Range": "bytes=5-9", "If-Range": condition})
    assert answer.status_code == status
    assert answer.content == (DATA[5:10] if status == 206 else DATA)


def test_a_range_past_the_end_is_refused_with_the_size(service, address):
    answer = service.get(address, headers={"Range": f"bytes={len(DATA)}-"})
    assert answer.status_code == 416
    assert answer.headers["content-range"] == f"bytes */{len(DATA)}"
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["type"].endswith("/problems/range-refused")


def test_several_ranges_are_answered_with_the_whole_file(service, address):
    answer = service.get(address, headers={"Range": "bytes=0-1,4-5"})
    assert answer.status_code == 200
    assert answer.content == DATA


_visible = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7E), max_size=60)
_ranges = st.from_regex(r"bytes=[0-9]{0,7}-[0-9]{0,7}(,[0-9]{0,7}-[0-9]{0,7})?", fullmatch=True)


@given(_visible | _ranges)
@settings(max_examples=60, deadline=None)
def test_any_range_header_gives_bytes_of_the_file(service, address, header):
    answer = service.get(address, headers={"Range": header})
    assert answer.status_code in (200, 206, 416)
    if answer.status_code == 200:
        assert answer.content == DATA
    elif answer.status_code == 206:
        unit, _, at = answer.headers["content-range"].partition(" ")
        first, last = map(int, at.partition("/")[0].split("-"))
        assert unit == "bytes"
        assert answer.content == DATA[first : last + 1]
        assert int(answer.headers["content-length"]) == len(answer.content)


@given(st.integers(0, len(DATA) - 1), st.integers(0, len(DATA)))
@settings(max_examples=20, deadline=None)
def test_pieces_put_together_are_the_file(service, address, first, length):
    last = first + length
    answer = service.get(address, headers={"Range": f"bytes={first}-{last}"})
    assert answer.status_code == 206
    assert answer.content == DATA[first : last + 1]


@pytest.mark.parametrize("name", ["T2-tray.stl", "%2e%2e", "%2e%2e%2fx", "a%00b", "%ff", "x" * 300, "T1-tray.stl%0a"])
def test_a_file_that_the_job_has_not_is_a_problem(service, address, name):
    answer = service.get(address.replace("T1-tray.stl", name))
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_lost_file_is_our_fault_and_tells_nothing_of_the_inside(service, succeeded, settings):
    job = succeeded(**{"T9-tray.stl": b"soon gone"})
    (settings.data_dir / "blobs" / "test" / hashlib.sha256(b"soon gone").hexdigest()).unlink()
    answer = service.get(f"/v1/jobs/{job}/files/T9-tray.stl")
    assert answer.status_code == 500
    assert answer.json()["type"].endswith("/problems/blob-missing")
    assert str(settings.data_dir) not in answer.text

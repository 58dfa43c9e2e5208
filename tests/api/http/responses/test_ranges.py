import time
from contextlib import suppress

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from api.http.problems.errors import RangeRefused
from api.http.responses.ranges import ByteRange, entity_tag, requested_range, tag_matches

_SIZE = 1000


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        # RFC 9110, 14.1.2: the first 500 bytes, the second 500, the last 500 of 10000, written for 1000
        ("bytes=0-499", ByteRange(0, 500)),
        ("bytes=500-999", ByteRange(500, 1000)),
        ("bytes=-500", ByteRange(500, 1000)),
        ("bytes=9-", ByteRange(9, 1000)),
        ("bytes=0-0", ByteRange(0, 1)),
        ("bytes=-1", ByteRange(999, 1000)),
        ("bytes=900-5000", ByteRange(900, 1000)),
        ("bytes=-5000", ByteRange(0, 1000)),
        ("BYTES=0-1", ByteRange(0, 2)),
        ("bytes= 0-1 ", ByteRange(0, 2)),
        ("bytes=0000-0001", ByteRange(0, 2)),
        (f"bytes=0-{'9' * 6000}", ByteRange(0, 1000)),
        (f"bytes=-{'9' * 6000}", ByteRange(0, 1000)),
        # not readable, of another unit or several: the whole file
        (None, None),
        ("", None),
        ("bytes", None),
        ("bytes=", None),
        ("bytes=-", None),
        ("bytes=a-b", None),
        ("bytes=5-4", None),
        ("bytes=5000-4000", None),
        ("bytes=0x1-2", None),
        ("bytes=\u0661-\u0662", None),
        ("bytes=0-1,5-6", None),
        ("bytes=0--1", None),
        ("lines=0-1", None),
    ],
)
def test_one_range_is_read_as_the_rfc_has_it(header, expected):
    assert requested_range(header, _SIZE) == expected


@pytest.mark.parametrize("header", ["bytes=1000-", "bytes=1000-1001", "bytes=-0", f"bytes={'9' * 6000}-"])
def test_a_range_with_no_bytes_in_it_is_refused(header):
    with pytest.raises(RangeRefused):
        requested_range(header, _SIZE)


@given(st.integers(0, 2000), st.integers(0, 2000), st.integers(1, 1500))
@example(0, 0, 1)
def test_a_span_is_what_a_list_would_slice(first, last, size):
    data = list(range(size))
    try:
        span = requested_range(f"bytes={first}-{last}", size)
    except RangeRefused:
        assert first <= last
        assert not data[first:]
        return
    if span is None:
        assert first > last
    else:
        assert data[span.start : span.end] == data[first : last + 1]
        assert span.content_range(size) == f"bytes {first}-{min(last, size - 1)}/{size}"


@given(st.integers(0, 2000), st.integers(1, 1500))
def test_a_suffix_is_what_a_list_would_slice(last, size):
    data = list(range(size))
    try:
        span = requested_range(f"bytes=-{last}", size)
    except RangeRefused:
        assert last == 0
        return
    assert data[span.start : span.end] == data[-last:]


@given(st.text() | st.from_regex(r"bytes=[0-9,\- ]*", fullmatch=True), st.integers(0, 10_000))
@settings(max_examples=300)
def test_any_header_gives_bytes_of_the_file_or_is_refused(header, size):
    try:
        span = requested_range(header, size)
    except RangeRefused:
        return
    assert span is None or 0 <= span.start < span.end <= size


@pytest.mark.parametrize("piece", ["0-1,", "0-,", " ", "-", "0", ",", "\t"])
def test_time_is_linear_in_the_header(piece):
    header = "bytes=" + piece * 200_000
    began = time.perf_counter()
    with suppress(RangeRefused):
        requested_range(header, _SIZE)
    tag_matches(header.replace("0", '"'), '"x"', weak=True)
    assert time.perf_counter() - began < 2.0


# RFC 9110, 8.8.3.2: the table of comparisons
@pytest.mark.parametrize(
    ("header", "strong", "weak"),
    [
        ('W/"1"', False, True),
        ('W/"2"', False, False),
        ('"1"', True, True),
        ('"2"', False, False),
        ('"0", "1"', True, True),
        ('W/"0" , W/"1"', False, True),
        ("*", True, True),
        ("1", False, False),
        ("", False, False),
        ('"11"', False, False),
    ],
)
def test_entity_tags_compare_as_the_rfc_has_it(header, strong, weak):
    assert tag_matches(header, entity_tag("1"), weak=False) is strong
    assert tag_matches(header, entity_tag("1"), weak=True) is weak

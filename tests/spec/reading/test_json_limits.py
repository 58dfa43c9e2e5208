"""The look before parsing: what it lets pass, what it refuses, and how long it takes."""

import json
import sys

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from worker.spec import loads
from worker.spec.errors import SpecError
from worker.spec.reading.json_limits import DEEPEST, LONGEST_NUMBER, LONGEST_TEXT, SPEC_LIMITS, scan

_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(), inner, max_size=5),
    max_leaves=30,
)
_pieces = st.lists(
    st.sampled_from([*'[]{}":,\\ \t\n0-.eE', "true", "NaN", '"a"', '\\"', "\u00fc", "[[[["]), max_size=60
)


@given(_json, st.sampled_from([None, 1]), st.booleans())
@settings(max_examples=100)
def test_json_within_the_limits_passes(value, indent, ascii_only):
    scan(json.dumps(value, indent=indent, ensure_ascii=ascii_only).encode())


@given(st.binary(max_size=80) | _pieces.map(lambda pieces: "".join(pieces).encode()))
@example(b'"\\')
@example(b'\xef\xbb\xbf"')
@example(b"]" * 40 + b"[" * 60)
@settings(max_examples=200)
def test_nothing_is_read_that_json_would_not_read(text):
    try:
        loads(text)
    except SpecError:
        return
    json.loads(text)


def _depth(value):
    inside = list(value.values()) if isinstance(value, dict) else value if isinstance(value, list) else None
    return -1 if inside is None else 1 + max(map(_depth, inside), default=-1)


@given(st.integers(DEEPEST - 3, DEEPEST + 3), st.lists(st.booleans(), min_size=40, max_size=40), st.text(max_size=5))
@settings(max_examples=50)
def test_depth_is_what_the_value_has(levels, kinds, leaf):
    value = leaf
    for is_list in kinds[: levels + 1]:
        value = [value, "[{"] if is_list else {"[": value, "]": 1}
    assert _depth(value) == levels
    text = json.dumps(value).encode()
    if levels <= DEEPEST:
        scan(text)
    else:
        with pytest.raises(SpecError, match="deeply"):
            scan(text)


@pytest.mark.parametrize(
    ("inside", "over", "limit"),
    [
        (b'"' + b"a" * LONGEST_TEXT + b'"', b'"' + b"a" * (LONGEST_TEXT + 1) + b'"', f"{LONGEST_TEXT} bytes"),
        (b"1" * LONGEST_NUMBER, b"1" * (LONGEST_NUMBER + 1), f"{LONGEST_NUMBER} characters"),
        (
            b"[" + b"1," * (SPEC_LIMITS.values - 2) + b"1]",
            b"[" + b"1," * (SPEC_LIMITS.values - 1) + b"1]",
            f"{SPEC_LIMITS.values} values",
        ),
    ],
    ids=["text", "number", "values"],
)
def test_each_limit_holds_to_the_last_byte(inside, over, limit):
    scan(inside)
    with pytest.raises(SpecError) as caught:
        scan(over)
    assert caught.value.limit == f"at most {limit}"


_STEPS = 20_000


@pytest.mark.parametrize(
    "piece", [b'\\"', b'"\\', b'"', b"\\", b'"a\\"', b"[", b"]", b'{"', b"1e", b" ", b"\xff", b'"a",'], ids=repr
)
def test_the_time_is_linear(piece):
    """Counted, not timed: every token begins where the one before ended, and a text without end stops the scan."""
    text = b'"' + piece * _STEPS
    from worker.spec.reading.json_limits import _TOKEN  # noqa: PLC0415 - a look inside

    at = 0
    for token in _TOKEN.finditer(text):
        assert token.start() == at
        at = token.end()
        if token.lastindex == 5:
            break
    assert at == len(text) or token.lastindex == 5


def test_what_was_refused_is_never_built():
    before = sys.getrecursionlimit()
    for text in (b"[" * 1_900_000, b'{"a":' * 380_000, b"[[" + b"[]," * 600_000 + b"[]]]"):
        with pytest.raises(SpecError):
            loads(text)
    assert sys.getrecursionlimit() == before

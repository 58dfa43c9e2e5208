"""Frames between a process and its parent: what was written is read, and what is cut short is refused."""

from io import BytesIO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.jobs.execution.frames import HEADER, packed, read_frame, write_frame

kinds = st.binary(min_size=1, max_size=1)


@given(st.lists(st.tuples(kinds, st.binary(max_size=300)), max_size=5))
def test_frames_are_read_as_they_were_written(frames):
    stream = BytesIO()
    for kind, content in frames:
        write_frame(stream, kind, content)
    stream.seek(0)
    assert [read_frame(stream) for _ in frames] == frames
    with pytest.raises(EOFError):
        read_frame(stream)


@given(kinds, st.binary(min_size=1, max_size=300), st.data())
def test_a_frame_that_is_cut_short_is_refused(kind, content, data):
    cut = data.draw(st.integers(0, HEADER.size + len(content) - 1))
    with pytest.raises(EOFError):
        read_frame(BytesIO(packed(kind, content)[:cut]))

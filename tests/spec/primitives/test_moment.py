"""A date and time is read as it was written, or refused with the form that it must have."""

from datetime import timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic_core import PydanticCustomError

from worker.spec.primitives.moment import read_moment, within_years

_offsets = st.integers(-23 * 60, 23 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))


@given(st.datetimes(timezones=st.none() | _offsets))
def test_what_is_written_is_read(moment):
    assert read_moment(moment.isoformat(), "a moment") == moment
    assert within_years(moment) == (moment.year in range(2000, 2200))


@given(st.text() | st.integers() | st.floats() | st.none() | st.dates().map(str))
def test_all_else_is_refused_with_the_form(value):
    with pytest.raises(PydanticCustomError) as caught:
        read_moment(value, "a moment")
    assert caught.value.context["error"].limit == "a moment"

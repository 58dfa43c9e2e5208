import io
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.output.bundle.zip_writer import Entry, write_zip

names = st.lists(
    st.text("abcXYZ019._-", min_size=1, max_size=8).filter(lambda name: name.strip(".")), min_size=1, max_size=3
).map("/".join)


@settings(max_examples=40)
@given(st.dictionaries(names, st.tuples(st.binary(max_size=3000), st.booleans()), max_size=5))
def test_what_goes_in_comes_out(files):
    archive = write_zip([Entry(name, data, packed) for name, (data, packed) in files.items()])
    with zipfile.ZipFile(io.BytesIO(archive)) as read:
        assert read.testzip() is None
        assert read.namelist() == list(files)
        assert {name: read.read(name) for name in files} == {name: data for name, (data, _) in files.items()}


def test_entries_are_stored_or_deflated_with_a_fixed_time():
    archive = write_zip([Entry("a.txt", b"a" * 1000), Entry("b.3mf", b"b" * 1000, packed=True)])
    with zipfile.ZipFile(io.BytesIO(archive)) as read:
        deflated, stored = read.infolist()
    assert (deflated.compress_type, stored.compress_type) == (zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED)
    assert deflated.compress_size < 100
    assert deflated.date_time == stored.date_time == (1980, 1, 1, 0, 0, 0)


def test_the_same_entries_give_the_same_bytes():
    entries = [Entry("a.txt", b"a" * 1000)]
    assert write_zip(entries) == write_zip(entries)


@pytest.mark.parametrize("name", ["", "/a", "../a", "a/../b", "a//b", "a\\b", "ä", "a\n", "."])
def test_an_unsafe_name_is_refused(name):
    with pytest.raises(ValueError, match="not a valid name"):
        write_zip([Entry(name, b"")])


def test_a_name_given_twice_is_refused():
    with pytest.raises(ValueError, match="twice"):
        write_zip([Entry("a", b""), Entry("a", b"")])

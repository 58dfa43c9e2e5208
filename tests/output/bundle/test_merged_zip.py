"""Merged archives as the standard library reads them, which shares no code with the writer of their structures."""

import io
import zipfile
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.output.bundle.merged_zip import MergedZip, Source, SourceEntry, archive_entries, whole_file
from worker.output.bundle.zip_writer import Entry, write_zip

_NAMES = st.from_regex(r"[a-z]{1,8}(/[a-z]{1,8})?", fullmatch=True)
_ARCHIVES = st.lists(
    st.dictionaries(_NAMES, st.tuples(st.binary(max_size=300), st.booleans()), max_size=4), min_size=1, max_size=4
)


def _read(layout, sources, start, end):
    pieces = layout.pieces(start, end)
    return b"".join(
        piece.literal + (b"" if piece.source is None else sources[piece.source][piece.start : piece.end])
        for piece in pieces
    )


@given(_ARCHIVES, st.binary(max_size=100), st.data())
def test_all_entries_arrive_and_each_range_is_of_the_whole(archives, single, data):
    sources = [write_zip([Entry(name, *content) for name, content in archive.items()]) for archive in archives]
    merged = [Source(f"{k:03d}-a", archive_entries(io.BytesIO(source))) for k, source in enumerate(sources)]
    alone = Source("", (whole_file("manifest.json", len(single), zlib.crc32(single)),))
    layout, sources = MergedZip([alone, *merged]), [single, *sources]
    whole = _read(layout, sources, 0, layout.size)
    assert len(whole) == layout.size
    with zipfile.ZipFile(io.BytesIO(whole)) as opened:
        assert opened.testzip() is None
        expected = {"manifest.json": single}
        expected |= {
            f"{k:03d}-a/{name}": content[0] for k, archive in enumerate(archives) for name, content in archive.items()
        }
        assert opened.namelist() == list(expected)
        assert {name: opened.read(name) for name in expected} == expected
        assert {info.date_time for info in opened.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert {info.external_attr >> 16 for info in opened.infolist()} == {0o100644}
    start = data.draw(st.integers(0, layout.size))
    end = data.draw(st.integers(start, layout.size + 9))
    assert _read(layout, sources, start, end) == whole[start:end]
    order = [piece.source for piece in layout.pieces(start, end)]
    assert [source for source, before in zip(order, [-1, *order], strict=False) if source != before] == list(
        dict.fromkeys(order)
    )  # what comes from one source comes together, so that it is read once


def test_the_same_sources_give_the_same_bytes():
    source = write_zip([Entry("a", b"1"), Entry("b", b"2")])
    layouts = [MergedZip([Source("x", archive_entries(io.BytesIO(source)))]) for _ in range(2)]
    first, second = (_read(layout, [source], 0, layout.size) for layout in layouts)
    assert first == second


class _Sparse(io.RawIOBase):
    """A merged archive whose sources are zeros, however large, except for a single file."""

    def __init__(self, layout, sources):
        self._layout, self._sources, self._at = layout, sources, 0

    def readable(self):
        return True

    def seekable(self):
        return True

    def tell(self):
        return self._at

    def seek(self, offset, whence=io.SEEK_SET):
        self._at = offset + (0, self._at, self._layout.size)[whence]
        return self._at

    def readinto(self, buffer):
        data = b""
        for piece in self._layout.pieces(self._at, min(self._at + len(buffer), self._layout.size)):
            data += piece.literal
            if piece.source is not None:
                content = self._sources.get(piece.source)
                data += bytes(piece.end - piece.start) if content is None else content[piece.start : piece.end]
        buffer[: len(data)] = data
        self._at += len(data)
        return len(data)


def test_an_archive_of_more_than_four_gigabytes_has_64_bit_numbers():
    size = 3 * 2**30
    large = [Source(f"{k}", (SourceEntry("large", zipfile.ZIP_STORED, 0, 0, size, size),)) for k in range(3)]
    layout = MergedZip([*large, Source("last", (whole_file("small", 5, zlib.crc32(b"small")),))])
    assert layout.size > 2 * 2**32
    with zipfile.ZipFile(_Sparse(layout, {3: b"small"})) as opened:
        assert opened.namelist() == ["0/large", "1/large", "2/large", "last/small"]
        assert opened.read("last/small") == b"small"
        assert [info.header_offset >= 2**32 for info in opened.infolist()] == [False, False, True, True]
        with opened.open("2/large") as late:
            assert late.read(9) == bytes(9)


def test_an_archive_of_more_than_65535_files_has_64_bit_numbers():
    entries = tuple(whole_file(f"{k}", 0, 0) for k in range(66_000))
    layout = MergedZip([Source("a", entries)])
    with zipfile.ZipFile(io.BytesIO(_read(layout, [b""], 0, layout.size))) as opened:
        assert len(opened.infolist()) == 66_000
        assert opened.read("a/65999") == b""


def test_what_is_no_archive_is_refused():
    with pytest.raises(zipfile.BadZipFile):
        archive_entries(io.BytesIO(b"nothing" * 99))

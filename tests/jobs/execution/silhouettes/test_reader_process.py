"""Readings in a process of their own: limits of time and memory, and answers."""

import pytest

from worker.jobs.execution.silhouettes.reader_process import read_in_process
from worker.silhouettes.errors import DrawingRefused, SilhouetteError

_SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    b'<path d="M5 5h50v30h-50z"/></svg>'
)


def test_an_outline_is_returned():
    reading = read_in_process([("svg", _SVG)], {"thickness": 3})

    assert reading.document["outline"]["depth"] == 3.0
    assert reading.pictures == {}


def test_a_refusal_has_its_class_and_fields():
    with pytest.raises(DrawingRefused) as refusal:
        read_in_process([("svg", _SVG.replace(b"mm", b""))], {})

    assert (refusal.value.reason, refusal.value.pointer) == ("no-unit", "/unit")


def test_a_reading_that_takes_too_long_is_ended():
    with pytest.raises(SilhouetteError) as refusal:
        read_in_process([("svg", _SVG)], {}, seconds=0.05)

    assert (refusal.value.reason, refusal.value.limit) == ("too-costly", "0.05 s")


def test_a_reading_that_takes_too_much_memory_is_refused():
    mesh = b"\0" * 80 + (200_000).to_bytes(4, "little") + b"\1" * 200_000 * 50

    with pytest.raises(SilhouetteError) as refusal:
        read_in_process([("stl", mesh)], {"repair": True}, memory=130_000_000)

    assert refusal.value.reason in {"too-costly", "unreadable"}
    assert "too long" not in str(refusal.value)

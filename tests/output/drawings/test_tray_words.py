"""Marks and captions in a tray's frame, and what is drawn inside of the tray."""

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import union_all
from shapely.geometry import Polygon, box

from tests.output.drawings.test_drawer_view import CLOSE, Drawn, planned
from worker.output.drawings.drawer_view import _within
from worker.output.drawings.font import LINE, text_width
from worker.output.drawings.sheet import LEAST

#: Type sizes in a tray, from the largest; a mark's is 1.35 times as large.
SIZES = (3.2, 2.8, 2.4, 2.1, 1.8)
CUT = "\u2026"
_WORDS = st.lists(st.text("abcdefgh", min_size=1, max_size=14), min_size=1, max_size=5)


def broken(words, room, size):
    """Return the fewest lines that hold words in order, filled one after the other; None where a word is too wide."""
    lines = []
    for word in words:
        if text_width(word, size) > room:
            return None
        if lines and text_width(f"{lines[-1]} {word}", size) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def ways(mark, words, frame, size, unit):
    """Return whether the text is turned, and its lines, for the ways in which all of it fits in this size."""
    for turned in (False, True):
        along, across = (frame[3], frame[2]) if turned else (frame[2], frame[3])
        lines = broken(words, along, size * unit)
        high = LINE * unit * size * (1.35 + len(lines or ()))
        if lines is not None and text_width(mark, 1.35 * size * unit, bold=True) <= along and high <= across:
            yield turned, lines


@settings(max_examples=300)
@given(_WORDS, st.floats(3.0, 60.0), st.floats(3.0, 60.0), st.sampled_from([1.0, 1.5]))
def test_words_take_the_largest_type_in_which_all_fit_and_are_cut_where_none_does(words, wide, deep, unit):
    frame, mark = (5.0, 7.0, wide, deep), "T12"
    texts = _within([" ".join(words)], frame, unit, mark=mark)
    for text in texts:
        x, y, right, low = text.box
        assert 5.0 - CLOSE <= x <= right <= 5.0 + wide + CLOSE
        assert 7.0 - CLOSE <= y <= low <= 7.0 + deep + CLOSE
        assert text.size >= LEAST * unit - CLOSE
    assert len({text.turned for text in texts}) <= 1
    fitting = [(size, list(ways(mark, words, frame, size, unit))) for size in SIZES]
    whole = next(((size, usable_ways) for size, usable_ways in fitting if usable_ways), None)
    written = [text.text for text in texts]
    if whole is not None:
        size, usable_ways = whole
        assert written[0] == mark
        assert texts[0].size == pytest.approx(1.35 * size * unit)
        assert all(text.size == pytest.approx(size * unit) for text in texts[1:])
        # upright where it fits; in a narrow frame, as deep as 1.8 times its width, turned where that saves lines
        fewest = min(usable_ways, key=lambda way: len(way[1])) if deep > 1.8 * wide else usable_ways[0]
        assert (texts[0].turned, written[1:]) == fewest
    elif texts:
        # the mark is whole; of the rest as much as fits follows in order, in the smallest type
        assert written[0] == mark
        assert texts[0].bold
        assert all(text.size == pytest.approx(LEAST * unit) for text in texts[1:])
        kept = [word for line in written[1:] for word in line.split()]
        for own, word in zip(kept, words, strict=False):
            assert own == word or (own.endswith(CUT) and (word.startswith(own[:-1]) or not own[:-1]))
        assert all(len(line) >= 5 for line in written[1:] if line.endswith(CUT))
    else:
        # not even the mark fits in the smallest type
        for along, across in ((wide, deep), (deep, wide)):
            assert text_width(mark, LEAST * unit, bold=True) > along or LINE * LEAST * unit > across


@given(st.floats(1.0, 60.0), st.floats(1.0, 60.0))
def test_without_a_mark_words_are_whole_or_not_there(wide, deep):
    texts = _within(["free, 3 x 2 cells"], (0.0, 0.0, wide, deep), 1.0, mark=None)
    assert not texts or " ".join(text.text for text in texts) == "free, 3 x 2 cells"
    fits = [broken(["free,", "3", "x", "2", "cells"], along, LEAST) for along in (wide, deep)]
    assert bool(texts) == any(
        lines is not None and LINE * LEAST * len(lines) <= across
        for lines, across in zip(fits, (deep, wide), strict=True)
    )


@settings(max_examples=15, deadline=None)
@given(st.integers(2, 4), st.integers(2, 3), st.integers(1, 4), st.integers(1, 3), st.sampled_from([1.0, 2.0]))
def test_dividers_and_ledges_are_where_the_tray_has_them(across, deep, columns, rows, scale):
    tray = {"name": "t", "cells": [across, deep], "height": 40, "compartments": [columns, rows], "label_ledge": True,
            "at": [0, 0]}  # fmt: skip
    mapped = planned([tray])
    ((own,),) = mapped.stacks
    drawn = Drawn(mapped, 0, scale)
    shape = own.part.shape
    wide, long, _ = own.part.size
    x, y, _ = own.place.at
    assume(len(shape.walls) == columns + rows - 2)
    areas = []
    for wall in shape.walls:
        half = wall.thickness / 2.0
        ends = wall.span or (shape.wall, (long if wall.axis == "x" else wide) - shape.wall)
        low, high = wall.at - half, wall.at + half
        areas.append(box(low, ends[0], high, ends[1]) if wall.axis == "x" else box(ends[0], low, ends[1], high))
    expected = [drawn.on_sheet(box(x + a.bounds[0], y + a.bounds[1], x + a.bounds[2], y + a.bounds[3])) for a in areas]
    shown = [Polygon(path.points) for path in drawn.paths if path.closed and path.fill == 0.82]
    assert len(shown) == len(expected)
    assert union_all(shown).symmetric_difference(union_all(expected)).area < CLOSE
    # the ledge: a strip along the inner side of the back wall, as deep as it is
    strips = [Polygon(path.points) for path in drawn.paths if path.closed and path.fill == 0.9]
    back = y + long - shape.wall
    ledge = drawn.on_sheet(box(x + shape.wall, back - shape.ledge.depth, x + wide - shape.wall, back))
    assert any(strip.symmetric_difference(ledge).area < CLOSE for strip in strips)

"""The filled tray: how compartments share what their things leave over."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.storage.test_lane import shape_of
from tests.layout.storage.things import filled_trays, ground, thing, tray_columns
from worker.layout.items.filling.filled_tray import tray_option
from worker.layout.storage.tray_option import content_box

#: Many small cubes lie in a heap, a few bars in rows.
_lots = st.lists(
    st.one_of(
        st.builds(lambda side, count: ([side] * 3, count), st.integers(5, 14), st.integers(20, 60)),
        st.builds(lambda long, count: ([long, 24, 24], count), st.integers(65, 110), st.integers(1, 3)),
    ),
    min_size=2,
    max_size=4,
)

#: Leaves that are filed on edge, with stops between so many of them.
_files = st.builds(lambda wide, count: ([wide, 45, 2], count), st.integers(50, 70), st.integers(6, 24))


def compartment_widths(option, axis, ground):
    """The widths of the compartments of a tray of one band, from wall to wall."""
    room = ground.usable(option.halves[axis], "straight")
    ends = [-ground.wall / 2.0, *sorted(divider.at for divider in option.dividers), room + ground.wall / 2.0]
    return [after - before - ground.wall for before, after in itertools.pairwise(ends)]


@settings(max_examples=20, deadline=None)
@given(_lots)
def test_compartments_grow_by_all_that_is_left_over_and_heaps_most(lots):
    size = ground(span=(10, 6), half_cells=False)
    kinds = [
        thing({"kind": "box", "size": box}, f"k{k}", count=count, group="g") for k, (box, count) in enumerate(lots)
    ]
    stock, columns = tray_columns(kinds, size)
    of_one_band = [column for column in columns if len(column.bands) == 1 and len(column.lanes) > 1]
    for column in of_one_band[:20]:
        lanes = [lane for _, lane in column.lanes]
        widths = compartment_widths(tray_option(stock, column), column.axis, size)
        assert len(widths) == len(lanes)
        grown = [width / lane.width for width, lane in zip(widths, lanes, strict=True)]
        assert min(grown) >= 1.0 - 1e-3
        for way in ("row", "heap"):
            alike = [growth for growth, lane in zip(grown, lanes, strict=True) if lane.way == way]
            assert not alike or max(alike) == pytest.approx(min(alike), abs=1e-3)
        heaps, rows = ([g for g, lane in zip(grown, lanes, strict=True) if lane.way == way] for way in ("heap", "row"))
        assert not heaps or not rows or min(heaps) >= max(rows) - 1e-3


@settings(max_examples=15, deadline=None)
@given(
    st.tuples(_lots, _files).map(lambda pair: [*pair[0][:3], pair[1]]), st.lists(st.booleans(), min_size=4, max_size=4)
)
def test_every_label_is_on_the_ledge_in_the_order_of_the_compartments(lots, labelled):
    size = ground(span=(10, 8), half_cells=False)
    kinds = [
        thing(
            {"kind": "box", "size": box},
            f"k{k}",
            count=count,
            group="g",
            label=label,
            storage="upright" if box[2] <= 2 else None,
        )
        for k, ((box, count), label) in enumerate(zip(lots, labelled, strict=False))
    ]
    # a tray of pockets has its label on the front
    for option in [tray for tray in filled_trays(kinds, size) if tray.recess is None][-12:]:
        letters = [text for text in shape_of(option, size).letterings if text.face == "ledge"]
        wished = {kind.name for kind in kinds if kind.label and kind.name in option.items}
        assert {text.text for text in letters} == wished
        boxes = {content.item: content_box(content) for content in option.content}
        begins = {item: low[0] for item, (low, sides) in boxes.items() if item in wished}
        read = [text.text for text in sorted(letters, key=lambda text: text.at[0])]
        assert read == sorted(begins, key=begins.__getitem__)
        for text in letters:
            # behind nothing else in the back band
            low, _ = boxes[text.text]
            others = [
                (near[0], near[0] + wide[0])
                for item, (near, wide) in boxes.items()
                if item != text.text and near[1] + wide[1] > low[1]
            ]
            assert not any(begin <= text.at[0] <= end for begin, end in others)

"""Lanes of many lengths at once, against those of each length by itself and against the round corners of a room."""

from math import sqrt

from hypothesis import given
from hypothesis import strategies as st

from tests.layout.storage.things import grounds, things
from worker.layout.storage.lane_sizing import lanes, lanes_by_length
from worker.layout.storage.sizing_rules import AIR
from worker.layout.storage.ways import Kind

_lengths = st.lists(st.floats(12.0, 260.0), min_size=1, max_size=12)


@given(things(), _lengths, grounds())
def test_every_length_has_the_lanes_that_it_has_by_itself(item, lengths, ground):
    kind = Kind.of(item)
    together = {
        number: chosen for numbers, chosen in lanes_by_length(kind, lengths, ground) for number in numbers
    }  # fmt: skip
    assert sorted(together) == list(range(len(lengths)))
    assert all(together[number] == lanes(kind, length, ground) for number, length in enumerate(lengths))


@given(things(), st.floats(12.0, 260.0), grounds())
def test_rows_keep_clear_of_the_round_corners_of_their_room(item, length, ground):
    """The corner of the first thing lies within the arc: a circle's equation."""
    for lane in lanes(Kind.of(item), length, ground):
        if lane.way != "row" or lane.rise or lane.step or lane.pose.form != "box":
            continue
        taken = lane.along * lane.pose.size[1] + (lane.along - 1) * AIR
        end = (length - taken) / (1.0 if lane.end_gap else 2.0)
        aside, back = ground.corner - lane.margin, ground.corner - end
        if not lane.end_gap and aside > 0.0 and back > 0.0:
            assert sqrt(aside**2 + back**2) <= ground.corner + 1e-6

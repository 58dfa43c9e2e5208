"""Changes of filament for lettering: as few as any order of filaments in the layers allows."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.printing.estimating.process import Process
from worker.printing.lettering_changes import LetteredPiece, least_changes, lettering_grams, pause_times, run_lettering
from worker.spec import load
from worker.spec.manifest import EstimateEntry, LetteringBand


def fewest(lettered, layers):
    """Return the least number of changes over all orders, by trying each."""
    orders = [[("part", "text"), ("text", "part")] if n in lettered else [("part",)] for n in range(layers)]
    best = None
    for choice in itertools.product(*orders):
        line = [filament for layer in choice for filament in layer]
        changes = sum(a != b for a, b in itertools.pairwise(line))
        best = changes if best is None else min(best, changes)
    return best


@given(st.integers(1, 9).flatmap(lambda layers: st.tuples(st.sets(st.integers(0, layers - 1)), st.just(layers))))
def test_there_are_no_fewer_changes(case):
    lettered, layers = case
    assert least_changes(lettered, layers) == fewest(lettered, layers)


PLAIN = {
    "spec": "1",
    "name": "bench",
    "printer": {"bed": [180, 180, 180]},
    "material": {"name": "PLA", "colour": "#FFFFFF"},
    "drawers": [{"name": "top", "width": 130, "depth": 130, "height": 60}],
}


def job(*, tool_changes=False, **lettering):
    material = {"name": "PLA", "colour": "#000000", "cost_per_kg": 30}
    printer = {**PLAIN["printer"], "tool_changes": tool_changes}
    return load({**PLAIN, "printer": printer, "printing": {"lettering": {"material": material, **lettering}}})


def piece(height, *bands):
    layers = round(height / 0.2)
    entry = EstimateEntry(
        material="PLA", colour="#FFFFFF", layer=0.2, line_width=0.44, grams=10.0, metres=3.0, cost=None, seconds=900.0,
        laying_seconds=500.0, layers=layers,
        lettering=tuple(
            LetteringBand(
                face=face, low=low, high=high, letterings=count, grams=grams, seconds_below=200.0 if low else 0.0,
                seconds_within=100.0,
            )
            for face, low, high, count, grams in bands
        ),
    )  # fmt: skip
    return LetteredPiece(entry, height)


TRAY = piece(40.0, ("bottom", 0.0, 0.4, 1, 1.5))
TILE = piece(3.0, ("top", 2.6, 3.0, 1, 2.5), ("bottom", 0.0, 0.4, 0, 3.0))


def test_the_bottom_takes_one_pause_for_the_whole_bed():
    lettering = run_lettering(job(), [TRAY, TRAY, TILE], 0.2)
    assert [(pause.height, pause.layers, pause.colour) for pause in lettering.pauses] == [
        (0.0, 0, "#000000"), (0.4, 2, "#FFFFFF"),
    ]  # fmt: skip
    assert (lettering.changes, lettering.waste, lettering.seconds) == (2, 2.0, 600.0)
    assert lettering.grams == pytest.approx(1.5 + 1.5 + 3.0 + 1.0)  # half of the waste is of this filament


def test_the_top_takes_a_pause_if_nothing_is_higher():
    lettering = run_lettering(job(change_grams=0.5, change_seconds=120), [TILE, TILE], 0.2)
    assert [(pause.height, pause.layers) for pause in lettering.pauses] == [(2.6, 13)]
    assert (lettering.changes, lettering.waste, lettering.seconds, lettering.grams) == (1, 0.5, 120.0, 5.25)
    assert run_lettering(job(), [TILE, piece(20.0)], 0.2) is None


def test_a_printer_that_changes_by_itself_takes_one_change_a_layer():
    spec = job(tool_changes=True)
    lettering = run_lettering(spec, [TRAY, TILE, TRAY], 0.2)
    # layers 1 and 2 of the trays; 14 and 15 of the tile, above which the trays go on
    assert (lettering.method, lettering.changes, lettering.seconds, lettering.pauses) == ("bodies", 4, 240.0, ())
    assert lettering.grams == pytest.approx(1.5 + 1.5 + 2.5 + 2.0)
    assert run_lettering(spec, [piece(20.0)], 0.2) is None


def test_without_a_second_filament_there_is_no_lettering():
    assert run_lettering(load(PLAIN), [TRAY], 0.2) is None


def test_a_piece_takes_its_share_of_the_second_filament():
    changer = run_lettering(job(tool_changes=True), [TRAY, TILE], 0.2)
    assert lettering_grams(TRAY.estimate, changer) == 1.5
    bottom, top = run_lettering(job(), [TRAY, TILE], 0.2), run_lettering(job(), [TILE], 0.2)
    assert [lettering_grams(TILE.estimate, each) for each in (bottom, top, None)] == [3.0, 2.5, 0.0]


def test_a_pause_is_due_after_the_layers_below_it_on_all_pieces():
    process = Process(heat_up=240.0, layer_change=2.0)
    bottom = pause_times(run_lettering(job(), [TRAY, TRAY, TILE], 0.2), [TRAY, TRAY, TILE], process, 1.5)
    # heated up and two layers changed, times 1.5; 100 s of lines on each piece; the change before the start
    assert [pause.seconds for pause in bottom.pauses] == [0.0, 1.5 * 244.0 + 300.0 + 300.0]
    top = pause_times(run_lettering(job(), [TILE, TILE], 0.2), [TILE, TILE], process, 1.0)
    assert [pause.seconds for pause in top.pauses] == [240.0 + 26.0 + 400.0]
    # a piece that ends below the pause is printed whole by then
    low = piece(1.0)
    mixed = pause_times(run_lettering(job(), [TILE, low], 0.2), [TILE, low], process, 1.0)
    assert [pause.seconds for pause in mixed.pauses] == [240.0 + 26.0 + 200.0 + 500.0]

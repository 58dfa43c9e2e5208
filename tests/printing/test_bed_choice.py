"""Trays made for different printers: whole on a large bed or cut for a small one, whichever ends sooner for all."""

import itertools
from collections import Counter

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.layout.relayout.printed_manifest import printed
from worker.layout.floor.print_bed import Bed
from worker.layout.model.plan_document import plan_document
from worker.layout.model.tray_places import trays_of
from worker.layout.planner import LaidOut, lay_out
from worker.printing import bed_choice
from worker.printing.bed_choice import priced, propose_beds
from worker.printing.estimating.part_estimates import price_new_parts
from worker.printing.part_printers import made_as, printer_classes
from worker.printing.printer_choice import lay_out_for_printers
from worker.printing.printer_estimates import price_on_others
from worker.printing.runs.printer_shares import nominal_finish
from worker.printing.runs.work_plan import runs_of
from worker.spec import load
from worker.spec.errors import LayoutError, TrayError

_BOTH = ("large", "small")


def _price(spec, plan, marks=None):
    without = {part.mark for part in plan.parts if marks is not None and part.mark not in marks}
    return price_new_parts(spec, plan, without)


def _runs(spec, plan):
    estimates = _price(spec, plan)
    others = price_on_others(spec, plan.parts, estimates, lambda own, marks: _price(own, plan, marks))
    return runs_of(spec, plan, estimates, others=others)[0]


def _finish(spec, plan):
    """Return when all of a plan is printed, s."""
    return nominal_finish(spec, _runs(spec, plan))[1]


def _job(*trays, size, beds=(190, 130), own=({}, {}), **fields):
    drawer = {"name": "d", "width": size[0], "depth": size[1], "height": 90, "trays": list(trays)}
    printers = [{"name": name, "bed": [bed, bed, 200]} | more for name, bed, more in zip(_BOTH, beds, own, strict=True)]
    job = {"spec": "1", "name": "bench", "coupon": False, "drawers": [drawer], "printers": printers}
    return job | fields


def _two_large(**fields):
    """Return a job of two equal trays that are too large for the small bed, each cut into two pieces there."""
    return _job({"name": "deep", "cells": [4, 3], "height": 85, "quantity": 2}, size=(172, 256), **fields)


def _uniform(spec):
    """Return the finish of each choice of one printer for the floor and one for all trays, s, by their names."""
    finishes = {}
    for floor, tray in itertools.product(_BOTH, repeat=2):
        own = spec.for_printer(floor, {"tray": tray, "plug": tray})
        finishes[floor, tray] = _finish(own, lay_out(own))
    return finishes


def _in_pieces(plan):
    """Return in how many pieces each tray of a plan is printed, in ascending order."""
    return sorted(len(parts) for parts in trays_of(plan).values())


def test_of_two_equal_trays_one_stays_whole_while_the_other_is_cut():
    """Whole, both wait for the large printer; cut, both take longer; so each printer has one of them."""
    spec = load(_two_large())
    finishes = _uniform(spec)
    plan = lay_out_for_printers(spec)
    assert _in_pieces(plan) == [1, 2]
    assert _finish(made_as(spec, plan), plan) < 0.9 * min(finishes.values())
    made_for = {part.quantity: set[str]() for part in plan.parts}
    for part in plan_document(plan).parts:
        if part.kind == "tray":
            assert part.made_for == ("large" if part.piece is None else "small")
            assert (max(part.size[:2]) > 129.0) == (part.piece is None)
            made_for[part.quantity].add(part.made_for)
    assert made_for[1] == {"large", "small"}
    assert lay_out_for_printers(spec) == plan


@pytest.mark.parametrize("trays", [2, 3])
def test_as_many_trays_stay_whole_as_is_best(trays):
    """Against every number of whole trays, laid out and timed on its own; the choice may be 2 % later."""
    spec = load(_job({"name": "deep", "cells": [4, 2], "height": 60, "quantity": trays}, size=(172, 90 * trays)))
    finishes = {}
    for floor in _BOTH:
        own = spec.for_printer(floor, {"tray": "large", "plug": "large"})
        laid = LaidOut(own)
        places = sorted(trays_of(laid.plan()))
        for cut in range(len(places) + 1):
            finishes[floor, cut] = _finish(own, laid.plan(dict.fromkeys(places[:cut], "small")))
    plan = lay_out_for_printers(spec)
    assert _finish(made_as(spec, plan), plan) <= 1.021 * min(finishes.values())


def test_a_tray_that_cannot_be_cut_stays_whole_while_another_one_is_cut():
    """Posts have no room in a low tray, so the small printer alone cannot print the job."""
    low, high = {"name": "low", "cells": [4, 3], "height": 12}, {"name": "high", "cells": [4, 3], "height": 85}
    spec = load(_job(low, high, size=(172, 256)))
    alone = spec.model_copy(update={"printers": spec.printers[1:]})
    with pytest.raises(TrayError, match="too low to be joined"):
        lay_out_for_printers(alone)
    plan = lay_out_for_printers(spec)
    assert {parts[0].tray.name: len(parts) for parts in trays_of(plan).values()} == {"low": 1, "high": 2}


def test_each_tray_goes_to_the_printer_that_has_room_for_it():
    """One printer is too low for the first tray, and the other too small for the second, which is too low to be cut."""
    jar = {"name": "jar", "shape": {"kind": "box", "size": [30, 30, 60]}}
    tall = {"name": "tall", "cells": [2, 2], "height": 64, "hold": [{"item": "jar"}]}
    drawer = {"name": "d", "width": 340, "depth": 340, "height": 160, "items": [jar]}
    drawer["trays"] = [tall, {"name": "low", "cells": [4, 4], "height": 15}]
    printers = [{"name": "wide", "bed": [200, 200, 60]}, {"name": "high", "bed": [120, 120, 250]}]
    for order in (printers, printers[::-1]):
        plan = lay_out_for_printers(load(_job(size=(340, 340)) | {"drawers": [drawer], "printers": order}))
        assert {part.name: part.made_for for part in plan_document(plan).parts if part.kind == "tray"} == {
            "tall": "high",
            "low": "wide",
        }
        assert not plan.unplaced
        assert [lot.item for lot in plan.drawers[0].contents] == ["jar"]


def test_a_tray_is_cut_for_the_printer_of_thin_lines_as_it_is_for_wide_ones():
    """Both are made for lines of 0.66 mm, which the other printer draws as thinner ones."""
    deep = {"name": "deep", "cells": [4, 3], "height": 85, "quantity": 2, "wall": 1.6, "floor": 1.2}
    spec = load(_job(deep, size=(172, 256), own=({"nozzle": 0.6}, {})))
    plan = lay_out_for_printers(spec)
    own = made_as(spec, plan)
    assert _in_pieces(plan) == [1, 2]
    assert own.line_width_of("tray") == pytest.approx(0.66)
    printed_by = {piece.mark: run.printers for run in _runs(own, plan) for piece in run.pieces}
    for parts in trays_of(plan).values():
        assert (("small",) in {printed_by[part.mark] for part in parts}) == (len(parts) == 2)


_TRAYS = st.lists(
    st.fixed_dictionaries(
        {"cells": st.sampled_from([(4, 2), (2, 4), (4, 1), (2, 2)]), "height": st.sampled_from([30, 55, 80])}
    ),
    min_size=1,
    max_size=3,
)


@given(_TRAYS, st.sampled_from([(190, 130), (200, 100), (180, 95)]), st.booleans())
@settings(max_examples=5, suppress_health_check=[HealthCheck.too_slow])
def test_the_choice_is_never_later_than_one_printer_for_all_trays(trays, beds, reserved):
    """And every part is printed on a bed that it fits, by a printer that may print it."""
    listed = [{"name": f"tray {number}", **tray} for number, tray in enumerate(trays)]
    own = ({"materials": ["PETG", "PLA"]}, {"materials": ["PLA"] if reserved else ["PLA", "PETG"]})
    printing = {"tile": {"material": {"name": "PETG"}}}
    spec = load(_job(*listed, size=(340, 256), beds=beds, own=own, printing=printing))
    plan = lay_out_for_printers(spec)
    made = made_as(spec, plan)
    finishes = []
    for floor, tray in itertools.product(_BOTH, repeat=2):
        single = spec.for_printer(floor, {"tray": tray, "plug": tray})
        try:
            finishes.append(_finish(single, lay_out(single)))
        except LayoutError:
            continue
    assert _finish(made, plan) <= 1.021 * min(finishes)
    by_name = {printer.name: printer for printer in spec.printers}
    parts = {part.mark: part for part in plan.parts}
    counts = Counter()
    for run in _runs(made, plan):
        for piece in run.pieces:
            part = parts[piece.mark]
            counts[piece.mark] += 1
            for name in run.printers:
                assert Bed.of_printer(by_name[name]).holds(*part.size[:2])
                assert by_name[name].takes(made.material_of(part.kind).name)
    assert counts == Counter({part.mark: part.quantity for part in plan.parts})


def test_things_keep_their_places_clear_of_posts_where_their_tray_is_cut():
    """A tray for things that is laid out whole is cut only where no post would stand among them."""
    rods = [
        {"name": f"rod {number}", "shape": {"kind": "box", "size": [150, 30, 40 + number]}, "count": 3}
        for number in range(4)
    ]
    spec = load(_job(size=(340, 340)) | {"items": rods})
    own = spec.for_printer("large")
    laid = LaidOut(own)
    whole = laid.plan()
    cut = laid.plan(dict.fromkeys(trays_of(whole), "small"))
    assert cut.unplaced == whole.unplaced
    (drawer,), (before,) = cut.drawers, whole.drawers
    assert drawer.jointed
    assert not before.jointed
    assert drawer.contents
    assert [(lot.item, lot.count, lot.at) for lot in drawer.contents] == [
        (lot.item, lot.count, lot.at) for lot in before.contents
    ]
    for tray in drawer.jointed:
        first = drawer.placements[tray.pieces[0]]
        for post in cut.part(first.mark).shape.tray.posts:
            x, y = zip(*post.outline, strict=True)
            for lot in drawer.contents:
                if lot.placement == tray.pieces[0]:
                    low = [at - corner for at, corner in zip(lot.at, first.at, strict=True)]
                    clear = [
                        max(along) <= start + 1e-6 or min(along) >= start + size - 1e-6
                        for along, start, size in zip((x, y), low, lot.size, strict=False)
                    ]
                    assert any(clear)


def test_what_a_tray_is_said_to_hold_has_room_in_it_as_it_is_made():
    """Of two trays that hold as many rods, each holds all of them, whether it is whole or in pieces."""
    rod = {"name": "rods", "shape": {"kind": "box", "size": [150, 9, 9]}, "count": 20}
    trays = [
        {"name": f"tray {number}", "cells": [4, 3], "height": 65, "hold": [{"item": "rods", "count": 10}]}
        for number in range(2)
    ]
    job = _job(*trays, size=(172, 256))
    job["drawers"][0]["items"] = [rod]
    plan = lay_out_for_printers(load(job))
    assert _in_pieces(plan) == [1, 2]
    assert not plan.unplaced
    assert sorted(lot.count for lot in plan.drawers[0].contents) == [10, 10]


def test_trays_that_are_printed_stay_as_they_were_made():
    """A job over its own manifest prints nothing; one tray more is all that is new."""
    before = lay_out_for_printers(load(_two_large()))
    manifest = printed(before).model_dump(mode="json")
    after = lay_out_for_printers(load(_two_large() | {"previous": manifest}))
    assert _in_pieces(after) == [1, 2]
    assert not after.changes.new
    assert not after.changes.moved
    small = {"name": "small", "cells": [1, 1], "height": 30}
    listed = [{"name": "deep", "cells": [4, 3], "height": 85, "quantity": 2}, small]
    job = _job(*listed, size=(256, 256)) | {"previous": manifest}
    more = lay_out_for_printers(load(job))
    assert {part.name for part in more.changes.new if part.kind == "tray"} == {"small"}


def test_things_stay_in_printed_trays_whichever_printer_these_were_made_for():
    items = [{"name": f"rod {n}", "shape": {"kind": "box", "size": [150, 30, 40 + n]}, "count": 3} for n in range(4)]
    job = _job(size=(340, 340)) | {"items": items}
    own = load(job).for_printer("large")
    laid = LaidOut(own)
    before = laid.plan(dict.fromkeys(trays_of(laid.plan()), "small"))
    assert before.drawers[0].jointed
    fixed = [item | {"fixed": True} for item in items]
    after = lay_out_for_printers(load(job | {"items": fixed, "previous": printed(before).model_dump(mode="json")}))
    assert not after.changes.new
    assert not after.changes.moved


def test_the_search_ends_with_its_work(monkeypatch):
    """However little work is left, what it proposes is sooner than the plan as it is, which comes last."""
    spec = load(_job({"name": "deep", "cells": [4, 2], "height": 60, "quantity": 6}, size=(340, 300)))
    own = spec.for_printer("large")
    laid = LaidOut(own)
    made = priced(own, laid.plan(), _price)
    lengths = []
    for most in (0, 60, 50_000):
        monkeypatch.setattr(bed_choice, "_MOST_PIECES", most)
        *sooner, as_it_is = propose_beds(made, laid, ["small"], printer_classes(spec), _price)
        assert as_it_is.made_for == {}
        finishes = [proposal.finish for proposal in sooner]
        assert finishes == sorted(set(finishes))
        assert all(finish < as_it_is.finish for finish in finishes)
        lengths.append(len(sooner))
    assert lengths[0] == 0
    assert lengths == sorted(lengths)
    assert 1 < lengths[2] < 6


def test_a_floor_for_another_printer_leaves_the_layout_as_it_is():
    """A plan whose floors alone are made for another printer is as if it were laid out for that from the start."""
    rods = [{"name": f"rod {n}", "shape": {"kind": "box", "size": [150, 30, 40 + n]}, "count": 3} for n in range(3)]
    tray = {"name": "deep", "cells": [2, 2], "height": 40}
    spec = load(_job(tray, size=(340, 340)) | {"items": rods, "coupon": True})
    mixed = spec.for_printer("small", dict.fromkeys(("tray", "plug", "panel", "shoe", "clip"), "large"))
    laid = LaidOut(spec.for_printer("large"))
    plan = laid.with_floors_of(mixed).plan()
    assert plan == lay_out(mixed)
    assert plan != laid.plan()

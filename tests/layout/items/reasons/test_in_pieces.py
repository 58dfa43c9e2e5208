"""Reasons and remedies that speak of trays in pieces, each judged by planning the job again."""

import pytest

from worker.layout.planner import lay_out
from worker.spec import load


def job(size, *, count=1, width=430, depth=300, height=80, joints=True, bed=180, **item):
    drawer = {
        "name": "top", "width": width, "depth": depth, "height": height,
        "items": [{"name": "thing", "shape": {"kind": "box", "size": list(size)}, "count": count, **item}],
    }  # fmt: skip
    printer = {"bed": [bed, bed, 180]}
    return {"spec": "1", "name": "k", "drawers": [drawer], "printer": printer, "coupon": False, "joints": joints}


def lack_of(data):
    lacks = lay_out(load(data)).unplaced
    return lacks[0] if lacks else None


@pytest.mark.parametrize("size", [(240, 30, 25), (240, 200, 20), (300, 150, 30)])
def test_joints_are_named_where_they_were_turned_off(size):
    lack = lack_of(job(size, joints=False))
    assert (lack.cause, lack.remedy) == ("bed", "Set `joints` to true: a tray in pieces has room for it.")
    assert lack.reason.endswith("No tray may be cut, as `joints` is false.")
    assert lack_of(job(size)) is None


def test_joints_are_not_named_where_they_do_not_help():
    lack = lack_of(job((800, 30, 25), width=900, joints=False))
    assert "joints" not in lack.reason
    assert "joints" not in lack.remedy


def test_a_pocket_forbids_a_cut():
    lack = lack_of(job((240, 30, 25), storage="pocket"))
    assert lack.cause == "bed"
    assert lack.reason.endswith("A tray with a pocket for each cannot be cut.")
    assert lack.remedy.startswith("Leave out `storage`")
    assert lack_of(job((240, 30, 25))) is None


def test_a_drawer_may_be_too_low_for_a_tray_in_pieces():
    lack = lack_of(job((240, 30, 8), height=17))
    assert lack.cause == "bed"
    (least,) = (int(word) for word in lack.reason.split("at least ")[1].split()[:1])
    assert lack_of(job((240, 30, 8), height=least + 2)) is None
    assert lack_of(job((240, 30, 8), height=least + 1)) is not None


def test_more_pieces_than_four_are_not_joined():
    lack = lack_of(job((800, 30, 25), width=900))
    assert (lack.cause, lack.reason.endswith("It would take more than 4 pieces.")) == ("bed", True)
    wide = int(lack.remedy.removeprefix("With a bed of ").split()[0])
    assert lack_of(job((800, 30, 25), width=900, bed=wide + 2)) is None

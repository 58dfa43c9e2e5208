"""The order of printing stands in one module, and everything that depends on it follows it."""

import ast
from itertools import combinations, permutations
from pathlib import Path
from types import SimpleNamespace
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from worker.layout.model.part_registry import LETTERS
from worker.printing.print_order import Stage, is_test_print, run_order, stage_of_mark, stage_of_run
from worker.spec.items.item import Access, access_rank
from worker.spec.manifest import PartKind

_ROOT = Path(__file__).parents[2]
_ACCESSES = st.sampled_from(get_args(Access))


def _run(*marks):
    return SimpleNamespace(pieces=[SimpleNamespace(mark=mark) for mark in marks])


def test_every_kind_has_a_stage_and_the_letter_of_its_mark_tells_it():
    assert {kind: stage_of_mark(f"{LETTERS[kind]}1") for kind in get_args(PartKind)} == {
        "coupon": Stage.TEST_PRINTS, "plug": Stage.TEST_PRINTS, "tile": Stage.FLOOR, "key": Stage.FLOOR,
        "panel": Stage.PANELS, "shoe": Stage.PANELS, "clip": Stage.PANELS, "tray": Stage.TRAYS,
    }  # fmt: skip
    assert [kind for kind in get_args(PartKind) if is_test_print(kind)] == ["coupon", "plug"]


def test_the_coupon_comes_before_the_floor_and_the_floor_before_trays():
    assert Stage.TEST_PRINTS < Stage.FLOOR < Stage.TRAYS


@pytest.mark.parametrize(("marks", "stage"), [
    (("T1", "C1"), Stage.TEST_PRINTS), (("T3", "K1"), Stage.FLOOR), (("T3", "T4"), Stage.TRAYS),
])  # fmt: skip
def test_a_run_has_the_earliest_stage_of_its_pieces(marks, stage):
    assert {stage_of_run(_run(*order)) for order in permutations(marks)} == {stage}


def test_a_run_of_plugs_alone_follows_that_of_the_coupon():
    kinds = {"C1": "coupon", "C2": "plug"}
    runs = [_run("C2"), _run("C1", "C2")]
    assert sorted(runs, key=lambda run: run_order(run, kinds, ())) == runs[::-1]


@given(st.lists(st.lists(_ACCESSES, min_size=1, max_size=4), min_size=2, max_size=6))
def test_runs_of_trays_go_by_their_most_used_tray_and_then_by_the_mean(accesses):
    keys = [run_order(_run(*["T1"] * len(own)), {"T1": "tray"}, own) for own in accesses]
    for (first, first_key), (second, second_key) in combinations(zip(accesses, keys, strict=True), 2):
        ranks = [[access_rank(access) for access in own] for own in (first, second)]
        if min(ranks[0]) != min(ranks[1]):
            assert (first_key < second_key) == (min(ranks[0]) < min(ranks[1]))
        else:
            assert (first_key < second_key) == (sum(ranks[0]) / len(ranks[0]) < sum(ranks[1]) / len(ranks[1]))


def test_no_other_module_of_printing_or_output_names_the_kinds_of_test_prints():
    elsewhere = [
        path.name
        for room in ("printing", "output")
        for path in sorted((_ROOT / "worker" / room).rglob("*.py"))
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Constant) and node.value in ("coupon", "plug")
    ]
    assert set(elsewhere) == {"print_order.py"}

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.output.bundle.bill_of_materials import COLUMNS, write_bill
from worker.spec.manifest import (
    EstimateEntry,
    Generator,
    Manifest,
    PartEntry,
    PurchaseEntry,
    RunEntry,
    RunPiece,
    WorkEntry,
)

FORMULAS = "=+-@\uff1d\uff0b\uff0d\uff20\t\r\n"


def estimate(*, cost=0.5, colour="#336699"):
    return EstimateEntry(
        material="PETG", colour=colour, layer=0.2, line_width=0.44, grams=12.5, metres=4.1234, cost=cost,
        seconds=4000.4, laying_seconds=3600.0, layers=100,
    )  # fmt: skip


def part(mark, name="bits", quantity=3, entry=None):
    return PartEntry(
        mark=mark, kind="tray", name=name, quantity=quantity, size=(83.4, 41.4, 40.25), triangles=12, volume=1.0,
        area=1.0, digest="ab" * 32, estimate=entry, checks=(), files=(),
    )  # fmt: skip


def run(number, *marks):
    pieces = tuple(RunPiece(mark=mark, at=(0.0, 0.0), turn=0, drawer="top") for mark in marks)
    return RunEntry(number=number, material="PETG", colour="#336699", layer=0.2, line_width=0.44, pieces=pieces)


def manifest(*parts, **fields):
    return Manifest(
        generator=Generator(version="0", kernel="k"), name="x", spec_digest="cd" * 32, drawers=(), parts=parts,
        assembly=(), warnings=(), cautions=(), **fields,
    )  # fmt: skip


def rows_of(data):
    return list(csv.DictReader(io.StringIO(data.decode(), newline=""), strict=True))


def test_a_part_is_a_row_with_its_sums_and_runs():
    bill = manifest(part("T1", entry=estimate()), runs=(run(1, "T1"), run(2, "C1"), run(4, "T1")))
    (row,) = rows_of(write_bill(bill))
    assert row == dict.fromkeys(COLUMNS, "") | {
        "entry": "part", "mark": "T1", "kind": "tray", "name": "bits", "quantity": "3", "to_print": "2",
        "width_mm": "83.4", "depth_mm": "41.4", "height_mm": "40.25", "material": "PETG", "colour": "#336699",
        "grams_each": "12.50", "grams": "25.00", "metres_each": "4.12", "metres": "8.25", "cost_each": "0.50",
        "cost": "1.00", "seconds_each": "4000", "seconds": "7200", "runs": "1 4",
    }  # fmt: skip


def test_what_is_not_known_is_left_empty():
    (plain, priced) = rows_of(write_bill(manifest(part("T1"), part("T2", entry=estimate(cost=None, colour=None)))))
    assert (plain["to_print"], plain["grams"], plain["material"], plain["runs"]) == ("3", "", "", "")
    assert (priced["grams"], priced["cost"], priced["cost_each"], priced["colour"]) == ("37.50", "", "", "")


def test_all_parts_and_filament_follow():
    work = WorkEntry(pieces=5, runs=2, least_runs=2, grams=62.5, metres=20.6, cost=2.5, seconds=20_000.0)
    buy = PurchaseEntry(material="PETG", colour="#336699", grams=62.5, left=10.0, spools=1, cost=25.0)
    _, everything, filament = rows_of(write_bill(manifest(part("T1"), work=work, purchases=(buy,))))
    assert (everything["entry"], everything["to_print"], everything["runs"]) == ("all", "5", "2")
    assert (everything["grams"], everything["seconds"]) == ("62.50", "20000")
    assert (filament["entry"], filament["spools_to_buy"], filament["grams_on_spools"]) == ("filament", "1", "10.00")
    assert (filament["grams"], filament["cost"]) == ("62.50", "25.00")
    assert (filament["material"], filament["colour"]) == ("PETG", "#336699")
    bare = WorkEntry(pieces=5, runs=2, least_runs=2)
    (row,) = rows_of(write_bill(manifest(work=bare)))
    assert (row["grams"], row["seconds"]) == ("", "")


@pytest.mark.parametrize("sign", FORMULAS)
def test_no_cell_begins_like_a_formula(sign):
    (row,) = rows_of(write_bill(manifest(part("T1", name=f"{sign}SUM(A1)"))))
    assert row["name"] == f"'{sign}SUM(A1)"


@settings(max_examples=60)
@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=30), st.integers(1, 1000))
def test_any_name_reads_back(name, quantity):
    data = write_bill(manifest(part("T1", name=name, quantity=quantity), part("T2")))
    first, second = rows_of(data)
    assert first["name"] == ("'" + name if name[:1] and name[0] in FORMULAS else name)
    assert (first["quantity"], second["mark"]) == (str(quantity), "T2")


def test_lines_end_and_fields_count_as_rfc_4180_has_it():
    data = write_bill(manifest(part("T1", name='a "quoted", name'), part("T2")))
    assert data.startswith(",".join(COLUMNS).encode() + b"\r\n")
    assert data.endswith(b"\r\n")
    assert data.count(b"\n") == data.count(b"\r\n") == 3
    assert b'"a ""quoted"", name"' in data
    assert {len(row) for row in csv.reader(io.StringIO(data.decode(), newline=""))} == {len(COLUMNS)}


def test_the_same_manifest_gives_the_same_bytes():
    assert write_bill(manifest(part("T1"))) == write_bill(manifest(part("T1")))

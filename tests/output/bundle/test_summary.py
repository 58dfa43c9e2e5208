"""The summary in words: runs, totals, timetable and purchases of a planned job, each line read by a person's eye."""

from datetime import UTC, datetime, timedelta

from tests.printing.progress.planned_manifest import bench
from worker.output.bundle.summary import summary
from worker.spec.manifest import AlternativeEntry, PurchaseEntry, ScheduleEntry, StepEntry, SwapEntry, WaitingEntry

BEGIN = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)  # a Monday


def text_of(**changes):
    _, manifest = bench()
    return "\n".join(summary(manifest.model_copy(update=changes)))


def work_of(**changes):
    return bench()[1].work.model_copy(update=changes)


def test_each_run_has_its_number_time_amount_and_pieces():
    _, manifest = bench()
    lines = text_of().split("\n")
    for run in manifest.runs:
        (line,) = [line for line in lines if line[:6].split() == [str(run.number)] and line[4:6] == "  "]
        minutes = round(run.seconds / 60.0)
        assert f"{minutes // 60}:{minutes % 60:02d} h" in line
        assert f"{run.grams:.0f} g" in line
        assert line.rstrip().endswith(run.material if run.colour is None else run.colour)
        counts = {piece.mark: sum(other.mark == piece.mark for other in run.pieces) for piece in run.pieces}
        pieces = lines[lines.index(line) + 1].strip().split(", ")
        assert set(pieces) == {mark if count == 1 else f"{count} x {mark}" for mark, count in counts.items()}


def test_nothing_is_said_of_what_is_not_known_and_of_no_runs():
    assert text_of(work=None) == ""
    assert text_of(runs=()) == "There is nothing to print."


def test_the_coupon_comes_first_where_there_is_one():
    _, manifest = bench()
    assert "Print the coupon first and try its plug in each socket." in text_of()
    first = manifest.runs[0]
    others = [run for run in manifest.runs if run.pieces[0].mark[0] in "FT"]
    assert len(others) < len(manifest.runs)
    assert "coupon" not in text_of(runs=tuple(others))
    twice = [first.model_copy(update={"printers": (name,)}) for name in ("one", "other")]
    assert "Print the coupon on each kind of printer first" in text_of(runs=(*twice, *others))


def test_totals_have_their_uncertainty_and_what_was_calibrated():
    work = work_of(seconds=7260.0, grams=123.4, metres=41.2, cost=2.5, time_uncertainty=0.25,
                   filament_uncertainty=0.1, calibrated_time=1.0, calibrated_filament=1.05)  # fmt: skip
    text = text_of(work=work)
    assert "2:01 h of print time, 123 g, 41 m, filament cost 2.50." in text
    assert f"{work.pieces} pieces in {work.runs} runs (at least {work.least_runs} are needed)" in text
    assert "the print time may be off by 25 %, the filament by 10 %." in text
    assert "All amounts of filament are multiplied by 1.05" in text
    assert "All print times" not in text
    assert "filament cost" not in text_of(work=work_of(cost=None))
    assert "printed alone: T1, T2." in text_of(work=work_of(long_pieces=("T1", "T2")))
    assert "printed alone" not in text_of()


def test_alternatives_have_their_sums():
    other = AlternativeEntry(
        layer=0.28,
        runs=3,
        seconds=5400.0,
        grams=90.0,
        metres=30.0,
        cost=1.8,
        assumes="the same speeds",
        time_uncertainty=0.3,
    )
    text = text_of(work=work_of(alternatives=(other,)))
    assert "With a layer height of 0.28 mm: 3 runs, 1:30 h, 90 g, 1.80. The time assumes the same speeds" in text
    assert "off by 30 %" in text


def test_the_timetable_has_dates_changes_of_spools_and_what_waits():
    step = StepEntry(
        run=2, printer="by the window", begin=BEGIN, attended_until=BEGIN + timedelta(minutes=15),
        end=BEGIN + timedelta(hours=8), free=BEGIN + timedelta(hours=9), spool=40.0,
        swaps=(
            SwapEntry(material="PETG", colour=None, after_grams=0.0, onto=40.0),
            SwapEntry(material="PETG", colour=None, after_grams=30.0, onto=1000.0),
        ),
    )  # fmt: skip
    schedule = ScheduleEntry(
        timezone="UTC", begin=BEGIN, finish=BEGIN + timedelta(hours=8), steps=(step,),
        waiting=(WaitingEntry(run=3, reason="it is too long."),), cautions=("a spool may run out.",),
    )  # fmt: skip
    lines = text_of(schedule=schedule).split("\n")
    at = lines.index("Mon 2026-03-02 18:00 to Tue 02:00  run 2 on by the window; attend until 18:15")
    assert [line.strip() for line in lines[at + 1 : at + 6]] == [
        "change to another spool of PETG before the start",
        "change to another spool of PETG after about 30 g",
        "Caution: a spool may run out.",
        "Run 3 is not scheduled: it is too long.",
        "Printing ends on Tue 2026-03-03 02:00 (UTC) if no run fails.",
    ]


def test_what_is_bought_has_its_amount_price_and_date():
    spare = PurchaseEntry(material="PLA", colour=None, grams=20.0, left=120.0, spools=0, cost=0.0)
    single = PurchaseEntry(material="PETG", colour="#336699", grams=812.6, left=100.0, spools=1, cost=20.0, by=BEGIN)
    double = PurchaseEntry(material="ASA", colour=None, grams=1500.0, left=0.0, spools=2, cost=None)
    assert text_of(purchases=(spare, single, double)).split("\n")[-3:] == [
        "PLA: 20 g needed, 120 g on spools: nothing to buy.",
        "PETG #336699: 813 g needed, 100 g on spools: buy 1 spool for 20.00 by Mon 2026-03-02.",
        "ASA: 1500 g needed, 0 g on spools: buy 2 spools.",
    ]

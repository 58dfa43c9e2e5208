"""Layouts of the practice drawers, by the search beside by hand: ``python -m tests.bench practice``.

Options: ``--effort quick|normal|thorough`` and ``--bed 180|256`` for one of each; without them all are run.
``--held-out`` runs the drawers without a by-hand layout.
"""

import argparse
from dataclasses import astuple
from statistics import mean

from tests.bench.practice_drawers import Figures, held_out_names, laid_out, names
from worker.layout.placement.search.region_solver import load_solver

EFFORTS = ("quick", "normal", "thorough")
BEDS = (256, 180)

_HEAD = (
    f"{'drawer':<12}{'':<9}{'kinds':>9}{'share':>7}{'often out':>10}{'trays':>6}{'joined':>7}{'prints':>7}{'high':>5}"
    f"{'cells':>11}{'cover':>7}{'g':>7}{'h':>6}{'runs':>5}{'g/kind':>8}  goal"
)


def row(name: str, how: str, figures: Figures, goal: str) -> str:
    """Return a line of the table."""
    return (
        f"{name:<12}{how:<9}{figures.whole:>5}/{figures.kinds:<3}{figures.share:>7.1%}{figures.often_out:>10}"
        f"{figures.trays:>6}{figures.jointed:>7}{figures.footprints:>7}{figures.heights:>5}{figures.cells:>6g}/{figures.floor:<4g}"
        f"{figures.covered:>7.0%}{figures.grams:>7.0f}{figures.hours:>6.1f}{figures.runs:>5}"
        f"{figures.grams / max(figures.share * figures.kinds, 1.0):>8.1f}  {goal}"
    )


def goal(figures: Figures, hand: Figures) -> str:
    """Return whether a layout places at least as much as by hand, with at most 5 % more plastic for each kind."""
    each, by_hand = (layout.grams / max(layout.share * layout.kinds, 1.0) for layout in (figures, hand))
    missed = []
    if figures.share < hand.share - 1e-9:
        missed.append(f"share {figures.share - hand.share:+.1%}")
    if each > 1.05 * by_hand:
        missed.append(f"plastic {each / by_hand - 1.0:+.0%}")
    return "missed: " + ", ".join(missed) if missed else "reached"


def main() -> None:
    """Print the table for each bed and effort."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--effort", choices=EFFORTS)
    parser.add_argument("--bed", type=int, choices=BEDS)
    parser.add_argument("--drawer", choices=[*names(), *held_out_names()])
    parser.add_argument("--held-out", action="store_true")
    parser.add_argument("--reasons", action="store_true")
    options, _ = parser.parse_known_args()
    load_solver()
    chosen = [options.drawer] if options.drawer else held_out_names() if options.held_out else names()
    for bed in (options.bed,) if options.bed else BEDS:
        hands = {name: laid_out(name, bed, None)[2] for name in chosen if name in names()}
        for effort in (options.effort,) if options.effort else EFFORTS:
            print(f"bed {bed}, {effort}\n{_HEAD}")
            machine: list[Figures] = []
            for name in chosen:
                figures = laid_out(name, bed, effort)[2]
                machine.append(figures)
                hand = hands.get(name)
                print(row(name, "search", figures, goal(figures, hand) if hand else ""))
                if hand:
                    print(row("", "by hand", hand, ""))
                for reason in (*figures.reasons, *(hand.reasons if hand else ())) if options.reasons else ():
                    print(f"      {reason}")
            for how, every in (("search", machine), ("by hand", list(hands.values()))):
                if every:
                    print(row("all", how, _total(every), ""))


def _total(every: list[Figures]) -> Figures:
    """Return the sums over drawers; of shares the mean."""
    columns = zip(*(astuple(figures)[:-1] for figures in every), strict=True)
    fields = [mean(column) if number in {2, 10} else sum(column) for number, column in enumerate(columns)]
    return Figures(*fields, reasons=())

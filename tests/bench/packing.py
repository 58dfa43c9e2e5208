"""Runs of random groups of pieces: how many packings are proven best, and the CPU time of a group.

``trays`` are trays on cells of 42 mm on common beds, 60 jobs; ``no waste`` are beds cut by guillotine with the spacing
as the saw's kerf, 40 jobs, of which the least number of runs is known.
"""

from collections.abc import Iterator
from random import Random
from time import process_time

import ortools.sat.python.cp_model  # noqa: F401 - loaded before the first group is timed

from worker.layout.floor.print_bed import Bed
from worker.printing.packing.pieces import Piece
from worker.printing.packing.run_packer import pack_runs

SPACING = 5.0
CELLS = [(1, 1), (1, 2), (2, 2), (1, 3), (2, 3), (2, 4), (3, 3), (1, 4), (3, 4), (1.5, 2), (1.5, 3), (2.5, 2)]


def main() -> None:
    """Print the share of jobs that are proven best without and with the exact packer."""
    for name, jobs in (("trays", tray_jobs()), ("no waste", cut_jobs())):
        count, heuristic, exact, saved, slowest = 0, 0, 0, 0, 0.0
        for bed, pieces in jobs:
            before = pack_runs(pieces, bed)
            start = process_time()
            after = pack_runs(pieces, bed, exact=True)
            slowest = max(slowest, process_time() - start)
            count += 1
            heuristic += len(before.runs) == before.lower_bound
            exact += len(after.runs) == after.lower_bound
            saved += len(before.runs) - len(after.runs)
        print(f"{name}: {count} jobs, proven best {heuristic} without and {exact} with the exact packer, "
              f"{saved} runs saved, at most {slowest:.2f} s of CPU a job")  # fmt: skip


def tray_jobs() -> Iterator[tuple[Bed, list[Piece]]]:
    """Yield a bed and one group of trays for each job."""
    random = Random(7)
    for _ in range(60):
        side = random.choice([180.0, 220.0, 256.0])
        pieces = []
        for index in range(random.randint(2, 8)):
            across, along = random.choice(CELLS)
            if max(across, along) * 42 <= side:
                size = 42.0 * across - 0.5, 42.0 * along - 0.5
                pieces.append(Piece(f"T{index}", *size, 20.0, random.randint(1, 6)))
        yield Bed.of((side, side), 0.5, []), pieces


def cut_jobs() -> Iterator[tuple[Bed, list[Piece]]]:
    """Yield a bed and the pieces of one to four beds that were cut without waste."""
    random = Random(7)
    for _ in range(40):
        left, pieces = [(250.0, 210.0)] * random.randint(1, 4), list[Piece]()
        while left:
            width, depth = left.pop()
            across = random.random() < 0.5
            length = width if across else depth
            if length < 60.0 or random.random() < 0.25:
                pieces.append(Piece(f"T{len(pieces)}", width, depth, 20.0))
                continue
            cut = round(random.uniform(0.25, 0.75) * length, 1)
            rest = round(length - cut - SPACING, 1)
            left += [(cut, depth), (rest, depth)] if across else [(width, cut), (width, rest)]
        yield Bed.of((250.0, 210.0), 0.0, []), pieces

"""All assignments of a few runs: every order on every printer, each run in the earliest slot after the one before."""

from itertools import permutations, product

from tests.printing.scheduling.occupancy_oracle import PlainOccupancy
from worker.printing.scheduling.problem import Placed


def every_assignment(problem):
    """Yield every assignment in which no run could start earlier without another order or another printer.

    For a goal that gets no better by a later end of any run, one of them is best.
    """
    tasks = problem.tasks
    for order in permutations(tasks):
        for choice in product(range(len(problem.printers)), repeat=len(tasks)):
            # the order of runs on different printers makes no difference
            if any(choice[i] > choice[i + 1] for i in range(len(tasks) - 1)):
                continue
            yield _placed(problem, list(zip(order, choice, strict=True)))


def _placed(problem, sequence):
    assignment, last = {}, None
    for task, printer in sequence:
        if printer != last:
            ready, last = problem.since, printer
        own = problem.printers[printer]
        slot = PlainOccupancy(own.name, own.start_times, ready, problem.horizon, 1).slot(
            task.durations[printer], problem.horizon
        )
        if slot is None:
            break
        assignment[task.number] = Placed(printer, slot)
        ready = slot.bed_free
    return assignment

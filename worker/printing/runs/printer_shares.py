"""The shares of printers that are not alike: which of them prints which pieces, so that all is printed soonest.

Every piece goes to printers that can print it, each share is packed onto their beds, and the runs are dated by a greedy
timetable. A first share balances the hours; then runs and single pieces of the printers that end last move to others
while that brings the finish forward. All work is counted, so the same job has the same shares.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import cycle, islice
from typing import Final, TypeAlias

from worker.printing.packing.lower_bound import least_runs
from worker.printing.part_printers import PrinterClass
from worker.printing.print_order import DEFAULT_ACCESS, is_test_print, run_order
from worker.printing.runs.alike_runs import FILAMENT_DECIMALS, SECONDS_DECIMALS, known_sum, pack_alike
from worker.printing.runs.demand import AccessByTray, Need, PartSize
from worker.printing.runs.printer_loads import EstimatesByPrinter, PrinterLoads, nominal_problem
from worker.printing.scheduling.goals import finish_of
from worker.printing.scheduling.greedy import greedy_assignment
from worker.spec import Spec
from worker.spec.manifest import EstimateEntry, PrinterWorkEntry, RunEntry, WorkEntry

__all__ = ["least_shares", "nominal_finish", "pack_shares", "printer_work"]

#: Pieces that the packer may place in all shares that are tried, and in one of them.
_MOST_PLACED: Final = 40_000
_SHARE_EFFORT: Final = 100

#: Shares that are tried at most.
_MOST_TRIES: Final = 60

#: A piece of one part: its mark, drawer and copy of the drawer.
_Unit: TypeAlias = tuple[str, str | None, int]
#: Pieces of each class of printers, by its index.
_Share: TypeAlias = tuple[Counter[_Unit], ...]
#: Runs without a date, then the finish, s, then the number of runs: the least is the best.
_Value: TypeAlias = tuple[int, int, int]


def pack_shares(
    spec: Spec,
    parts: Iterable[PartSize],
    needs: Iterable[Need],
    access: AccessByTray,
    estimates: Mapping[str, EstimateEntry] | None,
    *,
    others: EstimatesByPrinter,
    exact: bool,
) -> tuple[tuple[RunEntry, ...], WorkEntry]:
    """Return the runs on all printers, in the order of `worker.printing.print_order`, and their totals.

    Arguments and errors are those of `worker.printing.runs.work_plan.pack_needs`.
    """
    loads = PrinterLoads(spec, {part.mark: part for part in parts}, estimates, others)
    return _Sharing(loads, access).packed(needs, exact=exact)


def least_shares(
    spec: Spec,
    parts: Mapping[str, PartSize],
    estimates: Mapping[str, EstimateEntry] | None,
    counts: Mapping[str, int],
) -> int:
    """Return a lower bound of the number of runs on all printers, for these numbers of pieces by mark."""
    sharing = _Sharing(PrinterLoads(spec, parts, estimates, {}))
    return sharing.least({(mark, None, 0): count for mark, count in counts.items()}) if counts else 0


def printer_work(runs: Iterable[RunEntry]) -> tuple[PrinterWorkEntry, ...]:
    """Return the share of each class of printers in these runs; none where runs name no printers."""
    shares: dict[tuple[str, ...], list[RunEntry]] = defaultdict(list)
    for run in runs:
        shares[run.printers].append(run)
    return tuple(
        PrinterWorkEntry(
            printers=names,
            pieces=sum(len(run.pieces) for run in own),
            runs=len(own),
            grams=known_sum((run.grams for run in own), FILAMENT_DECIMALS),
            cost=known_sum((run.cost for run in own), FILAMENT_DECIMALS),
            seconds=known_sum((run.seconds for run in own), SECONDS_DECIMALS),
        )
        for names, own in sorted(shares.items())
        if names
    )


def nominal_finish(spec: Spec, runs: Sequence[RunEntry]) -> tuple[int, int]:
    """Return how many runs find no date, and the seconds until the others are printed by a greedy timetable.

    Runs of unknown time count as an hour. Without a start of its own the schedule begins on a Monday at 8.
    """
    problem = nominal_problem(spec, runs)
    assignment = greedy_assignment(problem)
    return len(problem.tasks) - len(assignment), finish_of(assignment) - problem.since if assignment else 0


@dataclass(slots=True)
class _Sharing:
    """The search for the shares of one job."""

    loads: PrinterLoads
    access: AccessByTray = field(default_factory=dict)
    _packed: dict[tuple[int, frozenset[tuple[_Unit, int]]], tuple[RunEntry, ...]] = field(default_factory=dict)

    @property
    def parts(self) -> Mapping[str, PartSize]:
        """The parts by mark."""
        return self.loads.parts

    @property
    def classes(self) -> tuple[PrinterClass, ...]:
        """The classes of printers."""
        return self.loads.classes

    def packed(self, needs: Iterable[Need], *, exact: bool) -> tuple[tuple[RunEntry, ...], WorkEntry]:
        """Return the runs of the best share that is found, and their totals."""
        units: Counter[_Unit] = Counter()
        for need in needs:
            units[need.mark, need.drawer, need.copy] += need.count
        tests = Counter({unit: count for unit, count in units.items() if is_test_print(self.parts[unit[0]].kind)})
        share = self._best(units - tests)
        for unit, count in tests.items():
            for index in islice(cycle(self._test_printers(unit[0])), count):
                share[index][unit] += 1
        runs: list[tuple[int, RunEntry]] = []
        works: list[WorkEntry] = []
        for index, own in enumerate(share):
            packed, work = self._pack(index, own, exact=exact, effort=None)
            runs += [(index, run) for run in packed]
            works += [work] * bool(packed)
        kinds = {mark: part.kind for mark, part in self.parts.items()}

        def order(entry: tuple[int, RunEntry]) -> tuple[tuple[int, float, float], int, int]:
            index, run = entry
            accesses = [self.access.get((piece.mark, piece.drawer), DEFAULT_ACCESS) for piece in run.pieces]
            return run_order(run, kinds, accesses), index, run.number

        ordered = tuple(
            run.model_copy(update={"number": number})
            for number, (_, run) in enumerate(sorted(runs, key=order), start=1)
        )
        return ordered, self._totals(ordered, works, units)

    def _test_printers(self, mark: str) -> list[int]:
        """Return the classes that print test prints, one each: first that for which the parts are made, if it can."""
        name = getattr(self.loads.spec.printer, "name", None)
        return sorted(self.loads.able(mark), key=lambda index: name not in self.classes[index].names)

    def _best(self, units: Counter[_Unit]) -> list[Counter[_Unit]]:
        """Return the best share of these pieces, which no move improves or no work is left for."""
        best = self._balanced(units)
        value, ends = self._value(best)
        tries = min(_MOST_TRIES, _MOST_PLACED // max(_SHARE_EFFORT, 10 * units.total()))
        better = True
        while better and tries > 0:
            better = False
            for share in self._moves(best, ends):
                tries -= 1
                own, own_ends = self._value(share)
                if own < value:
                    best, value, ends, better = share, own, own_ends, True
                    break
                if tries <= 0:
                    break
        return [Counter(own) for own in best]

    def _balanced(self, units: Counter[_Unit]) -> _Share:
        """Return a share by hours: each piece, the longest first, where the printers would end soonest with it."""
        share: _Share = tuple(Counter() for _ in self.classes)
        hours = [self.loads.printing_hours(own.names) for own in self.classes]
        loads = [0.0] * len(self.classes)

        def key(unit: _Unit) -> tuple[int, float, str, str, int]:
            able = self.loads.able(unit[0])
            return len(able) > 1, -self.loads.longest(unit[0]), unit[0], unit[1] or "", unit[2]

        for unit in sorted(units.elements(), key=key):
            able = self.loads.able(unit[0])
            weights = {index: self.loads.weight(index, unit[0]) for index in able}
            index = min(able, key=lambda index: ((loads[index] + weights[index]) / hours[index], index))
            loads[index] += weights[index]
            share[index][unit] += 1
        return share

    def _moves(self, share: _Share, ends: Sequence[int]) -> Iterator[_Share]:
        """Yield shares in which something leaves printers that end late: whole runs, single pieces, then swaps."""
        late = sorted(range(len(share)), key=lambda index: (-ends[index], index))
        for source in late[:-1]:
            targets = sorted((index for index in late if index != source), key=lambda index: (ends[index], index))
            for target in targets:
                if ends[target] >= ends[source]:
                    continue
                for units in self._movable_runs(share, source, target):
                    yield _moved(share, units, source, target)
                single = [unit for unit in sorted(share[source], key=str) if target in self.loads.able(unit[0])]
                single = list({unit[0]: unit for unit in single}.values())
                single.sort(key=lambda unit: -self.loads.weight(source, unit[0]))
                for unit in single:
                    yield _moved(share, Counter([unit]), source, target)
                back = {unit[0]: unit for unit in share[target] if source in self.loads.able(unit[0])}
                for unit in single:
                    for other in back.values():
                        if self.loads.weight(source, other[0]) < self.loads.weight(source, unit[0]):
                            yield _moved(
                                _moved(share, Counter([unit]), source, target), Counter([other]), target, source
                            )

    def _movable_runs(self, share: _Share, source: int, target: int) -> Iterator[Counter[_Unit]]:
        """Yield the pieces of each run of a class that another can print, the longest run first."""
        runs = sorted(self._tried(source, share[source]), key=lambda run: -(run.seconds or 0.0))
        for run in runs:
            if all(target in self.loads.able(piece.mark) for piece in run.pieces):
                left, units = Counter(share[source]), Counter[_Unit]()
                for piece in run.pieces:
                    unit = min(unit for unit in left if unit[:2] == (piece.mark, piece.drawer) and left[unit] > 0)
                    left[unit] -= 1
                    units[unit] += 1
                yield units

    def _value(self, share: _Share) -> tuple[_Value, list[int]]:
        """Return the value of a share, and when each class ends, s; 0 for one without runs."""
        runs: list[RunEntry] = []
        classes: list[int] = []
        for index, own in enumerate(share):
            packed = self._tried(index, own)
            runs += [run.model_copy(update={"number": len(runs) + number}) for number, run in enumerate(packed)]
            classes += [index] * len(packed)
        problem = nominal_problem(self.loads.spec, runs)
        assignment = greedy_assignment(problem)
        ends = [0] * len(share)
        for number, placed in assignment.items():
            ends[classes[number]] = max(ends[classes[number]], placed.slot.end)
        return (len(runs) - len(assignment), max(ends, default=0), len(runs)), ends

    def _tried(self, index: int, units: Counter[_Unit]) -> tuple[RunEntry, ...]:
        """Return the runs of a share as they are packed with little work, remembered."""
        key = index, frozenset(units.items())
        if key not in self._packed:
            self._packed[key], _ = self._pack(index, units, exact=False, effort=_SHARE_EFFORT)
        return self._packed[key]

    def _pack(
        self, index: int, units: Counter[_Unit], *, exact: bool, effort: int | None
    ) -> tuple[tuple[RunEntry, ...], WorkEntry]:
        own = self.classes[index]
        needs = [Need(mark, drawer, count, copy) for (mark, drawer, copy), count in units.items() if count > 0]
        estimates = self.loads.estimates_on(index)
        parts = [self.parts[mark] for mark in {need.mark: None for need in needs}]
        runs, work = pack_alike(own.spec, parts, needs, self.access, estimates, exact=exact, effort=effort)
        return tuple(run.model_copy(update={"printers": own.names}) for run in runs), work

    def _totals(self, runs: Sequence[RunEntry], works: Sequence[WorkEntry], units: Counter[_Unit]) -> WorkEntry:
        """Return the totals of all shares."""
        if not works:
            return WorkEntry(pieces=0, runs=0, least_runs=0)
        return works[0].model_copy(
            update={
                "pieces": sum(work.pieces for work in works),
                "runs": len(runs),
                "least_runs": self.least(units),
                "long_pieces": tuple(dict.fromkeys(mark for work in works for mark in work.long_pieces)),
                "grams": known_sum((work.grams for work in works), FILAMENT_DECIMALS),
                "metres": known_sum((work.metres for work in works), FILAMENT_DECIMALS),
                "cost": known_sum((work.cost for work in works), FILAMENT_DECIMALS),
                "seconds": known_sum((work.seconds for work in works), SECONDS_DECIMALS),
                "printers": printer_work(runs),
            }
        )

    def least(self, units: Mapping[_Unit, int]) -> int:
        """Return a lower bound of the runs: those of pieces that one class alone can print."""
        groups: dict[tuple[int, tuple[object, ...]], list[str]] = defaultdict(list)
        for (mark, _, _), count in units.items():
            kind, able = self.parts[mark].kind, self.loads.able(mark)
            if len(able) == 1:
                own = self.classes[able[0]].spec
                material = own.material_of(kind)
                settings = material.name, material.colour, own.layer_of(kind), own.line_width_of(kind)
                groups[able[0], (*settings, is_test_print(kind))] += [mark] * count
        bound = 0
        for (index, _), marks in groups.items():
            surface = self.loads.surfaces[index]
            bound += least_runs([(surface.grown(*self.parts[mark].size[:2]), 0.0) for mark in marks], surface, None)
        return max(bound, 1)


def _moved(share: _Share, units: Counter[_Unit], source: int, target: int) -> _Share:
    """Return the share with these pieces moved."""
    return tuple(
        own - units if index == source else own + units if index == target else own for index, own in enumerate(share)
    )

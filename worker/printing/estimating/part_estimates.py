"""Estimates of all parts of a job from their meshes, and of the whole job at other layer heights.

This module loads the geometry kernel, which packing does not need.
"""

from collections.abc import Container, Mapping
from typing import Final

from worker.layout.model.plan import Plan
from worker.layout.model.shapes import Part
from worker.printing.estimating.estimate import Estimate, estimate
from worker.printing.estimating.filament import cost, length, mass
from worker.printing.estimating.lettering_bands import engraved_volume, lettering_bands
from worker.printing.estimating.process_settings import Correction, layer_of, line_width_of, material_of, process_of
from worker.printing.printer_estimates import price_on_others
from worker.printing.runs.alike_runs import FILAMENT_DECIMALS, SECONDS_DECIMALS
from worker.printing.runs.demand import needs_of
from worker.printing.runs.printer_loads import EstimatesByPrinter
from worker.printing.runs.work_plan import runs_of
from worker.solids import Mesh, build
from worker.solids.recent_values import RecentValues
from worker.spec import Spec
from worker.spec.manifest import AlternativeEntry, EstimateEntry, LetteringBand, WorkEntry

__all__ = ["compare", "price_new_parts", "price_parts", "price_parts_on_others"]

#: Least amount of filament after rounding: even a tiny key has a mass.
_LEAST_FILAMENT: Final = 10.0**-FILAMENT_DECIMALS

#: So many parts' estimates are remembered: those of some dozens of jobs.
_MOST_REMEMBERED: Final = 1024


def price_parts(
    spec: Spec, plan: Plan, meshes: Mapping[str, Mesh], layer: float | None = None, *, same_flow: bool = False
) -> dict[str, EstimateEntry]:
    """Return the estimate of one piece of each part, by mark, calibrated by the user's own prints.

    Args:
        spec: the job.
        plan: the job laid out.
        meshes: by mark, as printed (z up), mm.
        layer: a layer height that replaces the spec's for all parts, mm.
        same_flow: see `worker.printing.estimating.process_settings.process_of`.

    Raises:
        KeyError: when a part has no mesh.
    """
    return {part.mark: _priced(spec, part, meshes[part.mark], layer, same_flow=same_flow) for part in plan.parts}


def price_parts_on_others(
    spec: Spec,
    plan: Plan,
    meshes: Mapping[str, Mesh],
    own: Mapping[str, EstimateEntry],
    layer: float | None = None,
    *,
    same_flow: bool = False,
) -> EstimatesByPrinter:
    """Return the estimates of the parts on all printers but the one that they are made for.

    Args:
        spec: the job for the printer that the parts are made for.
        plan: the job laid out.
        meshes: see `price_parts`.
        own: the estimates on that printer.
        layer: see `price_parts`.
        same_flow: see `price_parts`.
    """
    by_mark = {part.mark: part for part in plan.parts}

    def price(other: Spec, marks: frozenset[str]) -> dict[str, EstimateEntry]:
        return {mark: _priced(other, by_mark[mark], meshes[mark], layer, same_flow=same_flow) for mark in sorted(marks)}

    return price_on_others(spec, plan.parts, own, price)


def price_new_parts(spec: Spec, plan: Plan, without: Container[str] = ()) -> dict[str, EstimateEntry]:
    """Return the estimates of the parts of which pieces are to be printed; builds their meshes.

    Args:
        spec: the job.
        plan: the job laid out.
        without: marks of parts whose estimates are not needed.
    """
    needed = {need.mark for need in needs_of(plan) if need.mark not in without}
    return {part.mark: _priced(spec, part, build(part.shape), None) for part in plan.parts if part.mark in needed}


def compare(spec: Spec, plan: Plan, meshes: Mapping[str, Mesh]) -> tuple[AlternativeEntry, ...]:
    """Return the totals of the job, estimated and packed for each layer height of ``printing.compare``, in that order.

    Profiles for finer layers are mostly faster than the same speeds would be, and slower than the same flow. Without
    settings for a layer height in ``printing.layer_processes`` the time lies midway, and half of what is between the
    two comes on top of the uncertainty.

    Raises:
        KeyError: when a part has no mesh.
    """
    return tuple(_alternative(spec, plan, meshes, layer) for layer in dict.fromkeys(spec.printing.compare))


def _alternative(spec: Spec, plan: Plan, meshes: Mapping[str, Mesh], layer: float) -> AlternativeEntry:
    work = _work(spec, plan, meshes, layer, same_flow=False)
    seconds, uncertainty = work.seconds or 0.0, work.time_uncertainty or 0.0
    if spec.printing.process_for(layer) is not None:
        assumes = f"the stated process for layers of {layer:g} mm"
    elif all(layer_of(spec, part.kind) == layer for part in plan.parts):
        assumes = "the settings of the job"
    else:
        other = _work(spec, plan, meshes, layer, same_flow=True)
        ends = seconds, other.seconds or 0.0
        seconds = round(sum(ends) / 2.0, SECONDS_DECIMALS)
        uncertainty = round(uncertainty + abs(ends[0] - ends[1]) / 2.0 / seconds, 4)
        assumes = "speeds midway between those of the job and those at which the flow stays the same"
    return AlternativeEntry(
        layer=layer, runs=work.runs, grams=work.grams, metres=work.metres, cost=work.cost, seconds=seconds,
        time_uncertainty=uncertainty, assumes=assumes,
    )  # fmt: skip


def _work(spec: Spec, plan: Plan, meshes: Mapping[str, Mesh], layer: float, *, same_flow: bool) -> WorkEntry:
    """Return the totals of the job with this layer height."""
    own = price_parts(spec, plan, meshes, layer, same_flow=same_flow)
    others = price_parts_on_others(spec, plan, meshes, own, layer, same_flow=same_flow) if spec.printers else {}
    return runs_of(spec, plan, own, others=others)[1]


def _priced(spec: Spec, part: Part, mesh: Mesh, layer: float | None, *, same_flow: bool = False) -> EstimateEntry:
    time, filament = Correction.of_time(spec), Correction.of_filament(spec)
    process = process_of(spec, part.kind, layer, same_flow=same_flow)
    result = _ESTIMATES.get((mesh.content, process), lambda: estimate(mesh, process))
    material = material_of(spec, part.kind)
    letters = engraved_volume(spec, part)
    grams = result.mass + mass(letters, material.density)
    price = cost(grams, process.cost_per_kg)
    return EstimateEntry(
        material=material.name,
        colour=material.colour,
        layer=layer_of(spec, part.kind) if layer is None else layer,
        line_width=line_width_of(spec, part.kind),
        grams=_filament(grams * filament.factor),
        metres=_filament((result.length + length(letters)) * filament.factor),
        cost=None if price is None else round(price * filament.factor, FILAMENT_DECIMALS),
        seconds=round(result.time * time.factor, SECONDS_DECIMALS),
        laying_seconds=round(max(result.laying * time.factor, 10.0**-SECONDS_DECIMALS), SECONDS_DECIMALS),
        layers=result.layers,
        lettering=tuple(
            _timed(band, result, time.factor) for band in lettering_bands(spec, part, mesh, process, filament.factor)
        ),
    )


#: The estimates of the latest parts, by mesh and process: 0.3 instead of 5 ms a part.
_ESTIMATES: Final = RecentValues[Estimate](_MOST_REMEMBERED)


def _timed(band: LetteringBand, result: Estimate, factor: float) -> LetteringBand:
    """Return the layers with lettering, with the piece's print time below and in them."""
    below, to_top = (factor * result.laying_below(height) for height in (band.low, band.high))
    times = {"seconds_below": below, "seconds_within": to_top - below}
    return band.model_copy(update={name: round(time, SECONDS_DECIMALS) for name, time in times.items()})


def _filament(amount: float) -> float:
    return round(max(amount, _LEAST_FILAMENT), FILAMENT_DECIMALS)

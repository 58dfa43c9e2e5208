"""Pricing: from a spec to the process of each kind of part, and what the user's own prints make of an estimate.

Nothing here loads the geometry kernel; `worker.printing.estimating.part_estimates` measures the parts themselves.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Final, Self

from worker.printing.estimating.process import Process
from worker.spec import Calibration, Spec
from worker.spec.manifest import PartKind

__all__ = [
    "ENOUGH",
    "TIME_UNCERTAINTY",
    "VOLUME_UNCERTAINTY",
    "Correction",
    "layer_of",
    "line_width_of",
    "material_of",
    "process_of",
]

#: Part of the filament that an estimate may be off by. Against a model of every layer it is within 1 %; a slicer that
#: leaves gaps between lines open lays up to 8 % less in walls that are no whole number of lines wide.
VOLUME_UNCERTAINTY: Final = 0.08

#: Part of the time that an estimate may be off by, for a process that is the printer's own. A judgement: no measured
#: prints stand behind it.
TIME_UNCERTAINTY: Final = 0.25

#: From so many prints on their own spread says how far the next one may be off: of ``n`` equally likely orders of
#: ``n + 1`` prints it lies between the least and the greatest of the others in ``n - 1`` of ``n + 1``, here 4 of 5.
ENOUGH: Final = 9

#: A first layer is half the nozzle high whatever the others are, but no lower than they (common practice).
_FIRST_LAYER: Final = 0.5

#: Decimals of a factor.
_DECIMALS: Final = 4

layer_of, line_width_of, material_of = Spec.layer_of, Spec.line_width_of, Spec.material_of


def process_of(spec: Spec, kind: PartKind, layer: float | None = None) -> Process:
    """Return how a part of this kind is printed.

    Lines are the printer's, filament the job's, or those of ``printing.tile`` or ``printing.tray``; the rest is common
    practice for the material unless ``printing.process`` says otherwise. Full layers are counted, not measured: their
    number stays with another height.

    Args:
        spec: the job.
        kind: of the part: a coupon is printed as a tile, its plug as a tray.
        layer: another height of the layers, in mm.
    """
    material = material_of(spec, kind)
    height = layer_of(spec, kind) if layer is None else layer
    return replace(
        Process.of(material.name.strip()),
        layer=height,
        first_layer=max(height, _FIRST_LAYER * spec.printer.nozzle),
        line_width=line_width_of(spec, kind),
        density=material.density,
        cost_per_kg=material.cost_per_kg,
        **spec.printing.process.model_dump(exclude_none=True),
    )


@dataclass(frozen=True, slots=True)
class Correction:
    """What prints of the user's own make of an estimate: a factor, and the part by which the product may be off."""

    factor: float
    uncertainty: float

    @classmethod
    def of(cls, calibrations: Sequence[Calibration], stated: float) -> Self:
        """Return the correction that prints of one measure ask for.

        The factor is the median of actual over predicted. How far the ratios lie from it takes the place of the stated
        uncertainty when there are `ENOUGH` of them, and before that where it is greater.
        """
        ratios = [calibration.ratio for calibration in calibrations]
        if not ratios:
            return cls(1.0, stated)
        factor = median(ratios)
        spread = max(abs(ratio / factor - 1.0) for ratio in ratios)
        return cls(round(factor, _DECIMALS), round(spread if len(ratios) >= ENOUGH else max(spread, stated), _DECIMALS))

    @classmethod
    def of_time(cls, spec: Spec) -> Self:
        """Return the correction of every time of a job."""
        return cls.of(
            [calibration for calibration in spec.printing.calibration if calibration.of == "time"], TIME_UNCERTAINTY
        )

    @classmethod
    def of_filament(cls, spec: Spec) -> Self:
        """Return the correction of a job's grams, metres and cost."""
        return cls.of(
            [calibration for calibration in spec.printing.calibration if calibration.of == "filament"],
            VOLUME_UNCERTAINTY,
        )

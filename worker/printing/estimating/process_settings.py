"""The print settings of each kind of part by its spec, and the calibration of estimates by the user's own prints.

This module does not load the geometry kernel; `worker.printing.estimating.part_estimates` does.
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

#: Relative uncertainty of filament. Against a model of every layer an estimate is within 1 %; a slicer that leaves gaps
#: between lines open extrudes up to 8 % less in walls that are not a whole number of lines wide.
VOLUME_UNCERTAINTY: Final = 0.08

#: Relative uncertainty of print time, for a process with the settings of the user's printer. A judgement, without
#: measured prints behind it.
TIME_UNCERTAINTY: Final = 0.25

#: Number of calibration prints from which on their spread replaces the stated uncertainty: of ``n + 1`` exchangeable
#: prints the next one lies between the least and the greatest of ``n`` with probability ``(n - 1) / (n + 1)``, 4/5.
ENOUGH: Final = 9

#: Height of a first layer in nozzle diameters, unless the other layers are higher (common practice).
_FIRST_LAYER: Final = 0.5

#: Speeds that a profile for another layer height changes; the first layer and travel moves keep theirs.
_SPEEDS: Final = ("outer_speed", "inner_speed", "full_layer_speed", "infill_speed")

#: Decimals of a factor.
_DECIMALS: Final = 4

layer_of, line_width_of, material_of = Spec.layer_of, Spec.line_width_of, Spec.material_of


def process_of(spec: Spec, kind: PartKind, layer: float | None = None, *, same_flow: bool = False) -> Process:
    """Return the print settings for a kind of part.

    Line width and filament are those of ``printing.tile`` or ``printing.tray``, or else of the printer and the job. The
    rest is common practice for the material unless ``printing.process``, or ``printing.layer_processes`` for the layer
    height, overrides it. The numbers of top and bottom layers do not depend on the layer height.

    Args:
        spec: the job.
        kind: the kind of part; a coupon is printed as a tile, its plug as a tray.
        layer: a layer height that replaces the spec's, mm.
        same_flow: speeds change with the layer height, so that as much is extruded in a second as at the spec's.
    """
    material = material_of(spec, kind)
    own = layer_of(spec, kind)
    height = own if layer is None else layer
    of_height = spec.printing.process_for(height)
    process = replace(
        Process.of(material.name.strip()),
        layer=height,
        first_layer=max(height, _FIRST_LAYER * spec.printer_of(kind).nozzle),
        line_width=line_width_of(spec, kind),
        density=material.density,
        cost_per_kg=material.cost_per_kg,
        **spec.printing.process.model_dump(exclude_none=True)
        | ({} if of_height is None else of_height.model_dump(exclude_none=True, exclude={"layer"})),
    )
    if not same_flow:
        return process
    return replace(process, **{name: getattr(process, name) * own / height for name in _SPEEDS})


@dataclass(frozen=True, slots=True)
class Correction:
    """The calibration of an estimate by the user's prints: a factor, and the relative uncertainty of the product."""

    factor: float
    uncertainty: float

    @classmethod
    def of(cls, calibrations: Sequence[Calibration], stated: float) -> Self:
        """Return the correction by calibration prints of one quantity.

        The factor is the median ratio of actual to predicted. The greatest relative deviation of the ratios from it
        replaces the ``stated`` uncertainty from `ENOUGH` prints on, and with fewer prints when it is greater.
        """
        return cls.of_ratios([calibration.ratio for calibration in calibrations], stated)

    @classmethod
    def of_ratios(cls, ratios: Sequence[float], stated: float) -> Self:
        """Return the correction by ratios of measured to predicted values, as `of` does."""
        if not ratios:
            return cls(1.0, stated)
        factor = median(ratios)
        spread = max(abs(ratio / factor - 1.0) for ratio in ratios)
        return cls(round(factor, _DECIMALS), round(spread if len(ratios) >= ENOUGH else max(spread, stated), _DECIMALS))

    @classmethod
    def of_time(cls, spec: Spec) -> Self:
        """Return the correction of all print times of a job."""
        return cls.of(
            [calibration for calibration in spec.printing.calibration if calibration.of == "time"], TIME_UNCERTAINTY
        )

    @classmethod
    def of_filament(cls, spec: Spec) -> Self:
        """Return the correction of the grams, metres and cost of a job."""
        return cls.of(
            [calibration for calibration in spec.printing.calibration if calibration.of == "filament"],
            VOLUME_UNCERTAINTY,
        )

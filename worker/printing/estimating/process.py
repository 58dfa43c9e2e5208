"""The print process: the settings of a slicing profile that determine filament and print time."""

from dataclasses import dataclass
from math import isfinite
from typing import Final, Self

from worker.spec.errors import SpecError
from worker.spec.printer.material import DENSITIES

__all__ = ["BASE_FLOW", "LIMITS", "Process"]

#: Volumetric flow of PLA through a standard hot end, mm3/s: the middle of common practice, 10 to 15.
BASE_FLOW: Final = 12.5

#: By material: factor of the base flow, speed of outer walls and of all other lines in mm/s (own choice within common
#: practice, no single source).
LIMITS: Final = {
    "PLA": (1.0, 100.0, 180.0),
    "PETG": (0.7, 60.0, 80.0),
    "ABS": (0.8, 100.0, 150.0),
    "ASA": (0.8, 100.0, 150.0),
    "TPU": (0.3, 30.0, 40.0),
}

#: Settings that may be zero; all others are positive.
_MAY_BE_ZERO: Final = frozenset(
    {"top_layers", "bottom_layers", "infill", "layer_change", "heat_up", "hop", "corner_speed", "cost_per_kg"}
)


@dataclass(frozen=True, slots=True)
class Process:
    """The print settings of one kind of part.

    Lengths are in mm, speeds in mm/s, acceleration in mm/s2, flow in mm3/s, times in s, density in g/cm3. The defaults
    are common practice for a 0.4 mm nozzle on a current hobby printer, without a single source; the user's own profile
    is more accurate.

    Raises:
        SpecError: when a setting is negative or not finite, zero where it must be positive, or an infill above 1.
    """

    layer: float = 0.20  # common practice: half the nozzle
    first_layer: float = 0.20  # common practice: 0.20 to 0.25 whatever the other layers are
    line_width: float = 0.44  # 1.1 x nozzle, as worker.spec's printer
    walls: int = 3  # common practice: two to four loops, three for parts under load
    top_layers: int = 4  # common practice: about 0.8 mm
    bottom_layers: int = 4  # common practice: about 0.8 mm
    infill: float = 0.15  # common practice: 10 to 20 %
    first_layer_speed: float = 50.0  # common practice: 20 to 50
    outer_speed: float = 100.0  # common practice: 60 to 200
    inner_speed: float = 150.0  # common practice: 100 to 300
    full_layer_speed: float = 150.0  # common practice: 100 to 250
    infill_speed: float = 180.0  # common practice: 100 to 270
    travel_speed: float = 250.0  # common practice: 150 to 500
    acceleration: float = 5000.0  # common practice: 1000 (older printers with a moving bed) to 10,000
    corner_speed: float = 8.0  # common practice: "jerk" or square-corner speed of 5 to 10
    max_flow: float = BASE_FLOW  # PLA; LIMITS has the factors of other materials
    hop: float = 0.3  # s for a retraction with z hop, both ways; common practice: 0.1 (direct drive) to 0.5 (Bowden)
    layer_change: float = 1.0  # s; common practice: z move, seam and start of flow
    heat_up: float = 300.0  # s; common practice: heating, levelling and purge line: three to eight minutes
    density: float = 1.24  # PLA, worker.spec.printer.material.DENSITIES
    cost_per_kg: float | None = None  # the price is the user's

    def __post_init__(self) -> None:
        """Refuse settings that no printer can have."""
        for name in self.__slots__:
            value = getattr(self, name)
            if value is None:
                continue
            least = 0.0 if name in _MAY_BE_ZERO else None
            if not isfinite(value) or value < 0.0 or (least is None and value == 0.0):
                limit = "0 or more" if least is not None else "more than 0"
                raise SpecError(
                    f"The value of {name} is out of range.",
                    pointer=f"/{name}",
                    value=value,
                    limit=limit,
                    remedy=f"Set {name} to {limit}.",
                )
        if self.infill > 1.0:
            raise SpecError(
                "The infill is greater than 1.",
                pointer="/infill",
                value=self.infill,
                limit="0 to 1",
                remedy="Give the infill as a fraction: 0.15 for 15 %.",
            )

    @classmethod
    def of(cls, material: str) -> Self:
        """Return the default process of a material; the name is case-insensitive, and others get the process of PLA."""
        name = material.upper() if material.upper() in LIMITS else "PLA"
        flow_factor, outer, most = LIMITS[name]
        plain = cls()  # with slots the class itself does not keep its defaults
        return cls(
            first_layer_speed=min(plain.first_layer_speed, outer),
            outer_speed=min(plain.outer_speed, outer),
            inner_speed=min(plain.inner_speed, most),
            full_layer_speed=min(plain.full_layer_speed, most),
            infill_speed=min(plain.infill_speed, most),
            max_flow=BASE_FLOW * flow_factor,
            density=DENSITIES[name],
        )

    @property
    def line_area(self) -> float:
        """Cross-section of an extruded line in mm2: its share of a completely filled layer."""
        return self.line_width * self.layer

    def reached(self, speed: float) -> float:
        """Return this speed in mm/s, reduced to what the maximum flow allows."""
        return min(speed, self.max_flow / self.line_area)

    def limited(self, speed: float, *, slow: bool) -> float:
        """Return this speed in mm/s as the maximum flow allows it, in the first layer if ``slow``."""
        return self.reached(min(speed, self.first_layer_speed) if slow else speed)

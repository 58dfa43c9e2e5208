"""Shapes that are given as people know them, and the plain shape that each takes the room of."""

from functools import cache, lru_cache
from itertools import product
from math import ceil, hypot, pi, sin, sqrt
from typing import Annotated, Final, Literal, Self, TypeAlias

from pydantic import Field, model_validator

from worker.spec.errors import SpecError
from worker.spec.items.shape import Cylinder, Extent, Prism
from worker.spec.primitives.length import LengthBounds
from worker.spec.primitives.model import Noun
from worker.spec.primitives.names import Count
from worker.spec.primitives.pydantic_errors import Refusals

__all__ = ["STABLE", "Bundle", "Coil", "Tapered", "bundle_ratio"]

#: A thing stands by itself when it is no higher than so many times its least width.
STABLE: Final = 3.0

#: Most rods in one bundle, and turns of a cable in one coil.
_MOST: Final = 400

#: Longest cable, mm.
_LONGEST: Final = 100_000.0

#: Least diameter in mm of a tapered body's thin end that counts as an end.
_POINT: Final = 0.1

#: Decimals of derived dimensions, mm.
_DECIMALS: Final = 2

_Many: TypeAlias = Annotated[Count, Field(ge=2, le=_MOST)]


class Tapered(Noun):
    """A round body that tapers to one end, such as a funnel, a cone or a chisel's handle."""

    kind: Literal["tapered"] = Field(description="Marks the shape as a tapered body.")
    diameter: Extent = Field(description="Diameter of the thick end.")
    end_diameter: Annotated[float, LengthBounds(0.0, 3000.0)] = Field(
        description="Diameter of the other end; 0: it ends in a point."
    )
    length: Extent = Field(description="Length from end to end.")

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.end_diameter > self.diameter:
            error = SpecError(
                "The thin end is thicker than the thick one.",
                value=self.end_diameter, limit=f"at most {self.diameter:g} mm", remedy="Exchange the two diameters.",
            )  # fmt: skip
            refusals.add(error, "end_diameter")
        refusals.settle()
        return self

    @property
    def stands(self) -> bool:
        """Whether it stands by itself on its thick end."""
        return self.length <= STABLE * self.diameter

    @property
    def standing(self) -> Cylinder:
        """The cylinder around it as it stands on its thick end."""
        return Cylinder(kind="cylinder", diameter=self.diameter, length=self.length)

    @property
    def lying(self) -> Prism:
        """The prism around it as it lies: seen from above, a trapezium or a triangle; head to tail it saves room."""
        wide, half, end = self.diameter, self.diameter / 2.0, self.end_diameter / 2.0
        tip = [(half - end, self.length), (half + end, self.length)] if end >= _POINT / 2.0 else [(half, self.length)]
        return Prism(kind="polygon", points=((0.0, 0.0), (wide, 0.0), *reversed(tip)), height=wide)


class Bundle(Noun):
    """Round rods that are bound together, such as pencils or skewers; an item's count is that of its bundles."""

    kind: Literal["bundle"] = Field(description="Marks the shape as a bundle of round rods.")
    diameter: Extent = Field(description="Largest diameter of one rod.")
    length: Extent = Field(description="Length of the bundle.")
    rods: _Many = Field(description="Number of rods in the bundle.")

    @property
    def lying(self) -> Cylinder:
        """The cylinder around it."""
        around = round(bundle_ratio(self.rods) * self.diameter, _DECIMALS)
        return Cylinder(kind="cylinder", diameter=around, length=self.length)


class Coil(Noun):
    """A cable, hose or rope that is coiled to a ring."""

    kind: Literal["coil"] = Field(description="Marks the shape as a coiled cable.")
    cable: Annotated[float, LengthBounds(0.5, 60.0)] = Field(description="Diameter of the cable.")
    length: Annotated[float, LengthBounds(50.0, _LONGEST)] = Field(description="Length of the cable.")
    diameter: Extent = Field(description="Outer diameter of the coil.")

    @property
    def turns(self) -> int:
        """Number of turns, the last one begun; more than `bundle_ratio` knows: they do not fit.

        They lie in a round bundle of thickness b bent to the ring, so that one takes pi (D - b) of the cable.
        """
        return _turns(self.cable, self.length, self.diameter)

    @property
    def lying(self) -> Cylinder:
        """The disc around it as it lies."""
        return Cylinder(
            kind="cylinder",
            diameter=self.diameter,
            length=round(bundle_ratio(self.turns) * self.cable, _DECIMALS),
        )

    @model_validator(mode="after")
    def _rules(self) -> Self:
        refusals = Refusals()
        if self.turns > _MOST:
            error = SpecError(
                "The cable does not fit a coil of this diameter.",
                value=self.diameter, limit="a coil with a hole in its middle",
                remedy="Coil it wider, or check the cable's length and diameter.",
            )  # fmt: skip
            refusals.add(error, "diameter")
        refusals.settle()
        return self


def bundle_ratio(rods: int) -> float:
    """Return the diameter of a round bundle of equal rods, by the diameter of one: that of an arrangement that exists.

    The least of a ring, a ring around one, and a piece of the hexagonal lattice around a rod, between two or between
    three. Up to nine rods that is the optimum (Graham and others, Discrete Mathematics 181, 1998, from memory).
    """
    if rods == 1:
        return 1.0
    ring = 1.0 + 1.0 / sin(pi / rods)
    around = 1.0 + 1.0 / sin(pi / (rods - 1)) if rods > _AROUND_ONE else ring
    return min(ring, around, *(1.0 + 2.0 * _distances(centre)[rods - 1] for centre in _CENTRES))


#: A ring around one rod has room for it from seven rods in all on.
_AROUND_ONE: Final = 6

#: Middles of bundles in the hexagonal lattice of step 1: a rod, the middle of two, that of three.
_CENTRES: Final = ((0.0, 0.0), (0.5, 0.0), (0.5, sqrt(3.0) / 6.0))


@lru_cache(maxsize=1024)  # a layout asks for the same coil again and again
def _turns(cable: float, length: float, diameter: float) -> int:
    for turns in range(1, _MOST + 1):
        middle = diameter - bundle_ratio(turns) * cable
        if middle < diameter / 2.0:
            break
        if turns * pi * middle >= length:
            return turns
    return _MOST + 1


@cache
def _distances(centre: tuple[float, float]) -> tuple[float, ...]:
    """Return how far rods of the hexagonal lattice are from a middle, the nearest first, for the largest bundle."""
    reach = ceil(sqrt(_MOST)) + 2
    steps = range(-reach, reach + 1)
    return tuple(
        sorted(hypot(x + y / 2.0 - centre[0], y * sqrt(3.0) / 2.0 - centre[1]) for x, y in product(steps, steps))
    )  # fmt: skip

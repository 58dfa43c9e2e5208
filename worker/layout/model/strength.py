"""The strength of printed plastic, from which the layout estimates what joints hold."""

from math import sqrt
from typing import Final

__all__ = ["PLA_MODULUS", "PLA_YIELD", "SHEAR_PEAK", "SHEAR_YIELD"]

#: Tensile yield stress of printed PLA along its lines, MPa. Solid PLA has 50 to 60 by its makers' data sheets, prints
#: lose a fifth to a tenth (from memory: the reference values hold no strength).
PLA_YIELD: Final = 45.0

#: Yield stress in shear, MPa (von Mises).
SHEAR_YIELD: Final = PLA_YIELD / sqrt(3.0)

#: Peak over mean shear stress in a rectangular section (Gere and Goodno, Mechanics of Materials, shear in beams).
SHEAR_PEAK: Final = 1.5

#: Young's modulus of printed PLA, MPa. Makers' data sheets state 2500 to 3500 for solid PLA (from memory).
PLA_MODULUS: Final = 2500.0

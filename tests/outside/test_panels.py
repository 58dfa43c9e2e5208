"""The formulas by which panels are judged, and their clearances, against handbook values and common practice."""

from math import sqrt

import numpy as np
import pytest
from scipy import integrate

from worker.layout.model.strength import PLA_MODULUS
from worker.layout.panels.profile import PanelProfile
from worker.layout.panels.strength import buckling_load, push_load, tipping_load, wing_force, wing_strain


@pytest.mark.outside
def test_eulers_load_of_a_hinged_column():
    """A steel bar 30 x 50 mm, 2.5 m long, hinged at both ends, buckles under 36.0 kN about its weak axis (E 200 GPa).

    Textbook example of Euler's formula (Gere and Goodno, Mechanics of Materials, columns; figures recomputed by hand):
    ``I = 50 x 30^3 / 12 = 112,500 mm4``, ``pi^2 x 200,000 x 112,500 / 2,500^2 = 35,531 N``.
    """
    steel = buckling_load(2500.0, 50.0, 30.0) * 200_000.0 / PLA_MODULUS
    assert steel == pytest.approx(35_531.0, rel=1e-3)


@pytest.mark.outside
def test_eulers_load_is_the_first_eigenvalue_of_a_hinged_beam():
    """``E I w'''' + P w'' = 0`` with hinged ends, by finite differences with NumPy: its least P is Euler's load."""
    span, height, thickness, nodes = 252.0, 60.0, 2.4, 400
    step = span / (nodes + 1)
    second = (
        np.diag(np.full(nodes - 1, 1.0), 1) + np.diag(np.full(nodes - 1, 1.0), -1) - 2.0 * np.eye(nodes)
    ) / step**2
    stiffness = PLA_MODULUS * height * thickness**3 / 12.0
    least = np.linalg.eigvalsh(-second)[0] * stiffness
    assert buckling_load(span, height, thickness) == pytest.approx(least, rel=1e-4)


@pytest.mark.outside
def test_a_push_bends_a_beam_by_the_handbook_formula():
    """``F L^3 / (48 E I)``: tables of beam diagrams; here 5 mm, checked by integrating the moments (unit load)."""
    span, height, thickness = 300.0, 60.0, 2.4
    force = push_load(span, height, thickness)
    stiffness = PLA_MODULUS * height * thickness**3 / 12.0
    bend, _ = integrate.quad(lambda x: (force * x / 2.0) * (x / 2.0) / stiffness, 0.0, span / 2.0)
    assert 2.0 * bend == pytest.approx(5.0)


@pytest.mark.outside
def test_wings_are_cantilevers():
    """``3 E I d / L^3`` and a strain of ``3 t d / (2 L^2)``: cantilever with a load at its tip, tables of snap fits."""
    force = wing_force(60.0, 1.32, 20.0, 0.8) / 2.0
    moment_at_root = force * 20.0
    section = 60.0 * 1.32**2 / 6.0
    assert wing_strain(1.32, 20.0, 0.8) == pytest.approx(moment_at_root / section / PLA_MODULUS)
    # makers of snap fits in PLA keep the strain of a part that is bent for long under about 1 % (common practice)
    assert wing_strain(1.32, 20.0, 2.0) < 0.01


@pytest.mark.outside
def test_friction_at_the_wings_tips_holds_a_panel_by_its_mean_arm():
    """The mean distance of an upright line from a point, by quadrature with SciPy; friction 0.25, as in the module."""
    across, high, press = 28.0, 60.0, 8.0
    arm = integrate.quad(lambda z: sqrt(across**2 + z**2), 0.0, high)[0] / high
    shoes = [(high, across), (high, across)]
    weightless = tipping_load(1e-9, high, 2.4, shoes, press)
    assert weightless == pytest.approx(2.0 * 0.25 * press * arm / high)


@pytest.mark.outside
def test_air_in_slots_is_that_of_common_practice():
    """Parts that slide together by hand have 0.1 to 0.2 mm of air a side (common practice, tuned 0.4 mm nozzle)."""
    for clearance in (0.2, 0.3, 0.5):
        assert 0.1 <= PanelProfile(0.44, clearance).air <= 0.2

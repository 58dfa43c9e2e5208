"""The strength of a tab: the pull across a seam that one tab holds before its plastic yields."""

from worker.layout.floor.tab import Tab
from worker.layout.model.strength import PLA_YIELD, SHEAR_PEAK, SHEAR_YIELD


def pull(tab: Tab, height: float) -> float:
    """Return the pull in N that a tab with square shoulders holds, at its nominal gap, before PLA yields.

    The least of: tension in the neck; bearing of the shoulders; shear and bending in the lips of the recess and in
    both sides of the head. Each of these is a cantilever of rectangular section that carries half the pull in the
    middle of the undercut: ``stress = 6 M / (b t^2)`` and ``1.5 V / (b t)``, with the yield in shear ``1/sqrt(3)`` of
    that in tension (Euler-Bernoulli beam and von Mises; Gere and Goodno, Mechanics of Materials). These cantilevers are
    as thick as they are long, for which the beam's formula is an estimate; corners are taken without notch effect.

    Args:
        tab: the tab.
        height: height of the tab, mm.
    """
    # from the root of a lip or of a head's side to the middle of the overlap
    arm = tab.undercut / 2.0 + tab.gap
    neck = 2.0 * tab.neck * height * PLA_YIELD
    bearing = 2.0 * tab.undercut * height * PLA_YIELD
    beams = [
        2.0 * height * min(PLA_YIELD * t * t / (6.0 * arm), SHEAR_YIELD * t / SHEAR_PEAK)
        for t in (tab.lip, tab.thickness)
    ]
    return min(neck, bearing, *beams)

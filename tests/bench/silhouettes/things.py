"""Things to photograph: meshes that stand on z = 0, with what a photographer would say of them."""

from dataclasses import dataclass
from math import cos, pi, radians, sin

import numpy as np
from manifold3d import CrossSection, JoinType, Manifold

__all__ = ["HELD_OUT", "THINGS", "Thing"]

_SEGMENTS = 96


@dataclass(frozen=True)
class Thing:
    """A thing: name, body as given to the pipeline, mesh, look, and the tint to photograph it on."""

    name: str
    body: str
    solid: Manifold
    look: str
    tint: str = "green"

    @property
    def thickness(self):
        return self.solid.bounding_box()[5]

    def mesh(self):
        """Return `(n, 3) float64, mm` corners and `(m, 3) int` triangles."""
        mesh = self.solid.to_mesh()
        return np.asarray(mesh.vert_properties, dtype=float)[:, :3], np.asarray(mesh.tri_verts)


def _box(x, y, z, radius=0.0):
    section = CrossSection.square((x - 2 * radius, y - 2 * radius), center=True)
    if radius:
        section = section.offset(radius, JoinType.Round, circular_segments=_SEGMENTS)
    return section.extrude(z)


def _disc(diameter, z, hole=0.0):
    section = CrossSection.circle(diameter / 2, _SEGMENTS)
    if hole:
        section -= CrossSection.circle(hole / 2, _SEGMENTS)
    return section.extrude(z)


def _lying(profile):
    """Return a turned body lying along x, resting on z = 0; the profile is a list of (radius, position)."""
    points = [(0.0, profile[0][1]), *profile, (0.0, profile[-1][1])]
    solid = Manifold.revolve(CrossSection([points]), _SEGMENTS).rotate((0, 90, 0))
    low = solid.bounding_box()
    return solid.translate((-(low[0] + low[3]) / 2, 0, -low[2]))


def _polygon(points, z, radius=0.0):
    section = CrossSection([points])
    if radius:
        section = section.offset(-radius, JoinType.Round, circular_segments=_SEGMENTS)
        section = section.offset(radius, JoinType.Round, circular_segments=_SEGMENTS)
    return section.extrude(z)


def _spanner():
    body = CrossSection.square((110, 12), center=True)
    for side, size in ((-1, 17), (1, 13)):
        jaw = CrossSection.circle(size * 1.05, _SEGMENTS)
        mouth = CrossSection.square((size * 1.6, size), center=True).translate((size * 0.85, 0))
        jaw = (jaw - mouth).rotate(15 if side > 0 else 195)
        body += jaw.translate((side * 60, 0))
    return body.offset(-0.5).offset(0.5, JoinType.Round, circular_segments=32).extrude(6.0)


def _scissors():
    blade = CrossSection([[(0, -4), (85, -1), (85, 0.5), (0, 6)]])
    loop = CrossSection.circle(1.0, _SEGMENTS).scale((22, 15)) - CrossSection.circle(1.0, _SEGMENTS).scale((16, 9.5))
    half = blade + CrossSection([[(0, -4), (0, 6), (-34, 12), (-36, 4)]]) + loop.translate((-52, 12))
    both = half.rotate(9) + half.mirror((0, 1)).rotate(-9)
    return both.extrude(5.0)


def _hook(x, y, d):
    arm = _lying([(d / 2, 0), (d / 2, x)])
    other = _lying([(d / 2, 0), (d / 2, y)]).rotate((0, 0, 90)).translate((x / 2 - d / 2, y / 2 - d / 2, 0))
    return arm + other


def _gear():
    teeth = [
        ((30.0 if index % 2 == 0 else 26.0) * np.array([cos(angle), sin(angle)])).tolist()
        for index in range(24 * 2)
        for angle in (pi * index / 24 - 0.035, pi * index / 24 + 0.035)
    ]
    return (CrossSection([teeth]) - CrossSection.circle(6.0, _SEGMENTS)).extrude(8.0)


def _plate():
    section = CrossSection.square((90, 40), center=True)
    for x, d in ((-32, 6.5), (-12, 10), (12, 16), (34, 4.2)):
        section -= CrossSection.circle(d / 2, _SEGMENTS).translate((x, 0))
    return section.extrude(2.0)


def _screwdriver():
    return _lying([(3, 0), (3, 75), (5, 76), (5, 80), (13, 82), (15, 100), (12.5, 130), (14.5, 160), (8, 168)])


def _hammer():
    handle = _box(120, 18, 16, 6).translate((-20, 0, 3))
    head = _box(22, 80, 26, 3).translate((45, 0, 0))
    return handle + head


def _comb():
    section = CrossSection.square((130, 12), center=True).translate((0, 9))
    for index in range(23):
        section += CrossSection.square((3.2, 22), center=True).translate((-61.6 + 5.6 * index, -6))
    return section.extrude(4.0)


def _key():
    bow = CrossSection.circle(12.0, _SEGMENTS) - CrossSection.circle(3.0, _SEGMENTS).translate((-6, 0))
    blade = CrossSection([[(8, -4), (44, -4), (48, 0), (44, 4), (40, 4), (38, 2), (34, 3), (31, 1), (27, 4), (8, 4)]])
    return (bow + blade).translate((-18, 0)).extrude(2.2)


def _tweezers():
    arm = CrossSection([[(-60, 0), (60, 5), (60, 8), (0, 8), (-55, 4), (-60, 4)]])
    return (arm + arm.mirror((0, 1))).extrude(9.0)


def _spool():
    return _disc(40.0, 3.0) + _disc(20.0, 16.0) + _disc(40.0, 3.0).translate((0, 0, 15.0))


def _pliers():
    half = CrossSection([[(50, 0), (50, 3), (15, 9), (0, 9), (-70, 28), (-72, 20), (-20, 2), (0, -4), (15, -2)]])
    return (half + half.mirror((0, 1))).offset(1.0, JoinType.Round, circular_segments=_SEGMENTS).extrude(12.0)


def _ring_spanner():
    section = CrossSection.square((110, 11), center=True)
    for x, size in ((-60, 13), (60, 17)):
        section += CrossSection.circle(0.85 * size, _SEGMENTS).translate((x, 0))
    for x, size in ((-60, 13), (60, 17)):
        section -= CrossSection.circle(size / 3**0.5, 6).translate((x, 0))
    return section.extrude(7.0)


def _set_square():
    outer = CrossSection([[(-60, -35), (60, -35), (-60, 35)]])
    inner = CrossSection([[(-48, -23), (10, -23), (-48, 10)]])
    return (outer - inner).extrude(2.0)


def _hinge():
    plate = _box(60, 40, 2.0, 1)
    for x in (-22, 0, 22):
        for y in (-13, 13):
            plate -= _disc(4.5, 10.0).translate((x, y, -1))
    return plate + _lying([(3, 0), (3, 60)])


def _clamp():
    section = CrossSection([[(-30, -25), (30, -25), (30, -15), (-18, -15), (-18, 15), (30, 15), (30, 25), (-30, 25)]])
    return section.offset(-2.0).offset(2.0, JoinType.Round, circular_segments=_SEGMENTS).extrude(10.0)


#: Things on which thresholds were set.
THINGS = (
    Thing("plate", "flat", _plate(), "metal"),
    Thing("adapter", "flat", _box(70, 45, 28, 8), "black"),
    Thing("pen", "round", _lying([(1, 0), (4, 14), (5, 16), (5, 138), (4, 142)]), "blue"),
    Thing("eraser", "flat", _box(45, 20, 12, 1.5), "white"),
    Thing("stepped block", "stepped", _box(60, 40, 10, 3) + _box(30, 20, 30, 2), "red"),
    Thing("scissors", "flat", _scissors(), "brushed"),
    Thing("card", "flat", _box(85.60, 53.98, 0.76, 3.18), "blue"),
    Thing("washer M10", "flat", _disc(20.0, 2.0, 10.5), "metal"),
    Thing("washer M20", "flat", _disc(37.0, 3.0, 21.0), "brushed"),
    Thing("spanner", "flat", _spanner(), "metal"),
    Thing("hook", "round", _hook(90, 35, 6.0), "black"),
    Thing("white case", "flat", _box(60, 40, 25, 4), "white"),
    Thing("wood block", "flat", _box(100, 30, 20, 1), "wood"),
    Thing("tape roll", "flat", _disc(62.0, 24.0, 40.0), "orange"),
    Thing("knife", "flat", _polygon([(-70, -9), (50, -9), (75, 5), (70, 9), (-66, 9), (-70, 4)], 15.0, 2.0), "orange"),
    Thing("cell AA", "round", _lying([(7.25, 0), (7.25, 49), (2.75, 49.01), (2.75, 50.5)]), "black"),
    Thing("rod", "round", _lying([(4, 0), (4, 120)]), "metal"),
    Thing("ball", "round", Manifold.sphere(20.0, 128).translate((0, 0, 20)), "red"),
    Thing("glue", "round", _lying([(12.5, 0), (12.5, 80), (9, 88), (3, 90), (1.5, 112)]), "white"),
    Thing("screwdriver", "stepped", _screwdriver(), "yellow"),
    Thing("hammer", "stepped", _hammer(), "wood"),
    Thing("knob", "stepped", _disc(26.0, 12.0) + _disc(44.0, 14.0).translate((0, 0, 10.0)), "brushed"),
    Thing("gear", "flat", _gear(), "grey"),
    Thing("leaf", "flat", _polygon([(60 * cos(radians(a)), (18 + 6 * cos(radians(3 * a))) * sin(radians(a)))
                                    for a in range(0, 360, 4)], 6.0), "green", "pink"),
    Thing("lime ball", "round", Manifold.sphere(15.0, 128).translate((0, 0, 15)), "green", "pink"),
    Thing("skin-coloured box", "flat", _box(50, 35, 18, 5), "skin", "green"),
    Thing("ruler", "flat", _box(150, 25, 1.0), "brushed"),
    Thing("nut M16", "flat", CrossSection.circle(24.0 / 3**0.5, 6).extrude(13.0) - _disc(14.0, 40.0), "metal"),
    Thing("hex key", "round", _hook(75, 28, 5.0), "metal"),
    Thing("coin", "flat", _disc(25.75, 2.2), "brushed"),
    Thing("washer M12", "flat", _disc(24.0, 2.5, 13.0), "metal"),
    Thing("die", "flat", _box(16, 16, 16, 1.5), "white"),
    Thing("charger", "flat", _box(55, 50, 28, 6), "white"),
    Thing("battery 9 V", "flat", _box(48.5, 26.5, 17.5, 2), "black"),
    Thing("tube", "round", _lying([(9, 0), (9, 60)]), "brushed"),
    Thing("spool", "stepped", _spool(), "yellow"),
    Thing("comb", "flat", _comb(), "black"),
    Thing("key", "flat", _key(), "brushed"),
    Thing("tweezers", "flat", _tweezers(), "metal"),
    Thing("cutter", "flat", _polygon([(-65, -8), (40, -10), (62, 2), (60, 8), (-65, 10)], 12.0, 2.0), "yellow"),
    Thing("white ball", "round", Manifold.sphere(18.0, 128).translate((0, 0, 18)), "white"),
    Thing("cork", "round", _lying([(11.5, 0), (9.0, 42)]), "wood"),
    Thing("green clip", "flat", _box(40, 32, 8, 3), "green", "pink"),
    Thing("brush", "stepped", _lying([(2, 0), (4, 70), (6, 100), (6, 112), (7, 114), (7, 132), (9, 150)]), "red"),
    Thing("pliers", "flat", _pliers(), "blue"),
    Thing("soap", "flat", _box(70, 45, 20, 14), "skin"),
    Thing("cell C", "round", _lying([(13.1, 0), (13.1, 46), (3.75, 46.01), (3.75, 50)]), "black"),
    Thing("black pen", "round", _lying([(1, 0), (3.5, 12), (5.5, 16), (5.5, 135), (4, 140)]), "black"),
    Thing("black ball", "round", Manifold.sphere(14.0, 128).translate((0, 0, 14)), "black"),
    Thing("cell 12 V", "round", _lying([(5.0, 0), (5.0, 27), (2, 27.01), (2, 28.5)]), "black"),
    Thing("torch", "round", _lying([(9, 0), (9, 70), (13, 78), (13, 95)]), "black"),
    Thing("black knob", "stepped", _disc(24.0, 10.0) + _disc(38.0, 12.0).translate((0, 0, 8.0)), "black"),
)  # fmt: skip

#: Things that were photographed and measured when all thresholds stood. Sizes are those of catalogues where there are
#: any: DIN 934, DIN 125, DIN 338, IEC 60086-2 (LR03, LR20, CR2032), and a coin of 50 cents.
HELD_OUT = (
    Thing("nut M10", "flat", CrossSection.circle(17.0 / 3**0.5, 6).extrude(8.0) - _disc(8.5, 30.0), "metal"),
    Thing("washer M8", "flat", _disc(16.0, 1.6, 8.4), "brushed"),
    Thing("coin 50", "flat", _disc(24.25, 2.38), "brushed"),
    Thing("cell AAA", "round", _lying([(5.25, 0), (5.25, 43), (1.9, 43.01), (1.9, 44.5)]), "black"),
    Thing("cell D", "round", _lying([(17.1, 0), (17.1, 59), (4.75, 59.01), (4.75, 61.5)]), "red"),
    Thing("button cell", "flat", _disc(20.0, 3.2), "metal"),
    Thing("set square", "flat", _set_square(), "yellow"),
    Thing("ring spanner", "flat", _ring_spanner(), "brushed"),
    Thing("file", "flat", _polygon([(-75, -4), (-20, -8), (70, -6), (70, 6), (-20, 8), (-75, 4)], 4.0, 1.0), "grey"),
    Thing("marker", "round", _lying([(6, 0), (8, 8), (8, 95), (5.5, 96), (5.5, 122)]), "red"),
    Thing("orange ball", "round", Manifold.sphere(20.0, 128).translate((0, 0, 20)), "orange"),
    Thing("match box", "flat", _box(53, 36, 15, 0.5), "wood"),
    Thing("playing card", "flat", _box(88, 63, 0.3, 3), "white"),
    Thing("chisel", "stepped", _lying([(9, 0), (12, 30), (10, 90), (13, 100), (5, 105), (5, 160)]), "yellow"),
    Thing("dowel", "round", _lying([(4, 0), (4, 40)]), "wood"),
    Thing("hinge", "stepped", _hinge(), "metal"),
    Thing("memory stick", "flat", _box(58, 18, 8, 2), "black"),
    Thing("clamp", "flat", _clamp(), "blue"),
    Thing("green bar", "flat", _box(80, 25, 12, 2), "green", "pink"),
    Thing("drill", "round", _lying([(0.5, 0), (3, 2), (3, 93)]), "brushed"),
)  # fmt: skip

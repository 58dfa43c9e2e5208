"""Usable areas of drawers to lay floors in: combs, L-shapes, tapers, obstacles, strips one cell wide."""

import shapely
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Polygon


def comb(width=400.0, depth=350.0, teeth=3, slot=90.0, root=150.0):
    """A back edge with slots between teeth; the teeth are even, and may be narrower than a cell."""
    area = shapely.box(0, 0, width, depth)
    tooth = (width - (teeth - 1) * slot) / teeth
    for number in range(1, teeth):
        left = number * tooth + (number - 1) * slot
        area = area.difference(shapely.box(left, root, left + slot, depth + 1))
    return area


NAMED = {
    "comb": comb(),
    "narrow teeth": comb(300.0, 300.0, 4, 80.0, 130.0),
    "ell": Polygon([(0, 0), (400, 0), (400, 200), (230, 200), (230, 420), (0, 420)]),
    "taper": Polygon([(0, 0), (400, 0), (370, 300), (12, 300)]),
    "obstacles": shapely.box(0, 0, 420, 330).difference(
        shapely.union_all([shapely.box(150, 100, 205, 160), shapely.box(0, 0, 30, 40), shapely.box(300, 290, 310, 300)])
    ),
    "strip": shapely.box(0, 0, 47, 500),
    "flush strip": shapely.box(0, 0, 42, 500),
}


@st.composite
def outlines(draw):
    """Any of these with other lengths, in mm."""
    width, depth = (draw(st.integers(1000, 5000)) / 10.0 for _ in range(2))
    kind = draw(st.sampled_from(["comb", "ell", "taper", "obstacles", "strip"]))
    area = shapely.box(0, 0, width, depth)
    if kind == "comb":
        teeth = draw(st.integers(2, 4))
        area = comb(width, depth, teeth, draw(st.floats(0.1, 0.9)) * width / teeth, depth * draw(st.floats(0.3, 0.8)))
    elif kind == "ell":
        x, y = (draw(st.floats(0.2, 0.8)) for _ in range(2))
        area = area.difference(shapely.box(width * x, depth * y, width + 1, depth + 1))
    elif kind == "taper":
        lean, other = (draw(st.floats(-20.0, 20.0)) for _ in range(2))
        area = Polygon([(0, 0), (width, 0), (width + lean, depth), (other, depth)])
    elif kind == "obstacles":
        for _ in range(draw(st.integers(1, 3))):
            x, y = draw(st.floats(0.0, 0.9)) * width, draw(st.floats(0.0, 0.9)) * depth
            area = area.difference(shapely.box(x, y, x + draw(st.floats(5.0, 80.0)), y + draw(st.floats(5.0, 80.0))))
    else:
        area = shapely.box(0, 0, draw(st.integers(420, 900)) / 10.0, depth)
    parts = [part for part in shapely.get_parts(shapely.set_precision(area, 0.001)) if part.area > 1.0]
    return MultiPolygon(parts) if len(parts) > 1 else parts[0]

"""Silhouettes of drawings: units, loops and holes, choices, curves."""

import io
from math import cos, hypot, pi, radians, sin

import ezdxf
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.silhouettes.drawing.drawing import DrawingOptions, read_drawing
from worker.silhouettes.drawing.polyline import FLATNESS
from worker.silhouettes.errors import DrawingRefused, SilhouetteError

_PLAIN = DrawingOptions()


def _svg(content, size='width="100mm" height="100mm" viewBox="0 0 100 100"'):
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{content}</svg>'.encode()


def _dxf(unit=4, version="R2010"):
    document = ezdxf.new(version)
    document.header["$INSUNITS"] = unit
    return document


def _bytes(document):
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def _refusal(content, kind, options=_PLAIN):
    with pytest.raises(DrawingRefused) as refusal:
        read_drawing(content, kind, options)
    assert refusal.value.remedy
    return refusal.value


def test_a_plate_with_a_hole():
    made = read_drawing(_svg('<path d="M10 10h60v30h-60z M20 20h10v10h-10z"/>'), "svg", _PLAIN)

    assert made.size == pytest.approx((60.0, 30.0), abs=1e-3)
    assert [shapely.Polygon(hole).area for hole in made.holes] == pytest.approx([100.0], abs=1e-2)
    assert made.outer.min(axis=0) == pytest.approx((0.0, 0.0))
    assert (made.method, made.uncertainty, made.depth) == ("drawing", FLATNESS, None)


def test_y_points_to_the_back():
    """In SVG y points down, so the tip that is at the top of the drawing lies at the back."""
    made = read_drawing(_svg('<polygon points="20,10 40,50 0,50"/>'), "svg", _PLAIN)

    assert made.outer[np.argmax(made.outer[:, 1])] == pytest.approx((20.0, 40.0), abs=1e-3)


@given(st.floats(0.6, 400.0), st.floats(0.6, 400.0), st.sampled_from(["svg", "dxf"]))
@settings(max_examples=30, deadline=None)
def test_curves_are_flattened_within_the_tolerance(first, second, kind):
    long, short = max(first, second), min(first, second)
    if kind == "svg":
        content = _svg(f'<ellipse cx="500" cy="500" rx="{long}" ry="{short}"/>', 'width="1000mm" height="1000mm"')
        content = content.replace(b'height="1000mm"', b'height="1000mm" viewBox="0 0 1000 1000"')
    else:
        document = _dxf()
        document.modelspace().add_ellipse((500, 500), (long, 0), short / long)
        content = _bytes(document)

    made = read_drawing(content, kind, _PLAIN)

    turns = np.linspace(0.0, 2 * pi, 1000)
    truth = shapely.points(long * (1 + np.cos(turns)), short * (1 + np.sin(turns)))
    assert shapely.distance(truth, shapely.LinearRing(made.outer)).max() <= FLATNESS * 1.01
    assert made.polygon.area == pytest.approx(pi * long * short, abs=FLATNESS * 2 * pi * long)


@given(st.lists(st.floats(20.0, 100.0), min_size=4, max_size=24), st.randoms(), st.booleans())
@settings(max_examples=30, deadline=None)
def test_loose_lines_are_joined_in_any_order_and_direction(radii, random, twice):
    corners = [
        (100 + radius * cos(2 * pi * index / len(radii)), 100 + radius * sin(2 * pi * index / len(radii)))
        for index, radius in enumerate(radii)
    ]
    sides = [(corners[index - 1], corner) for index, corner in enumerate(corners)]
    sides = [side if random.random() < 0.5 else side[::-1] for side in sides]
    random.shuffle(sides)
    lines = "".join(f'<line x1="{a[0]}" y1="{a[1]}" x2="{b[0]}" y2="{b[1]}" stroke="red"/>' for a, b in sides)
    closed = "".join(f"{x},{y} " for x, y in corners)
    doubled = f'<polygon points="{closed}" fill="none" stroke="red"/>' if twice else ""

    made = read_drawing(_svg(lines + doubled, 'viewBox="0 0 200 200"'), "svg", DrawingOptions(unit="mm"))

    truth = shapely.Polygon([(x, -y) for x, y in corners])
    assert made.polygon.area == pytest.approx(truth.area, rel=1e-6)
    assert made.holes == ()


def test_a_gap_is_reported_with_its_place():
    error = _refusal(_svg('<path d="M10 10h60v30h-59.5"/>'), "svg")

    assert error.reason == "open-outline"
    assert error.value == pytest.approx(hypot(0.5, 30), abs=0.01)


def test_open_lines_beside_an_outline_are_left_out_and_reported():
    made = read_drawing(_svg('<rect width="30" height="20"/><path d="M40 40h9v9"/>'), "svg", _PLAIN)

    assert made.size == pytest.approx((30.0, 20.0), abs=1e-3)
    assert "open lines" in made.warnings[0]


def test_layers_and_colours_are_offered_and_chosen():
    content = _svg(
        '<g id="cut"><rect width="30" height="20" stroke="#f00"/></g>'
        '<g id="mark"><rect x="50" width="10" height="10" stroke="blue"/></g>'
    )

    error = _refusal(content, "svg")

    assert (error.reason, error.pointer) == ("several-outlines", "/outline")
    assert "cut (1), mark (1)" in error.limit
    assert "#ff0000 (1), #0000ff (1)" in error.limit
    for options in (DrawingOptions(layer="mark"), DrawingOptions(colour="#0000FF"), DrawingOptions(outline=2)):
        assert read_drawing(content, "svg", options).size == pytest.approx((10.0, 10.0), abs=1e-3)
    assert _refusal(content, "svg", DrawingOptions(layer="fold")).reason == "no-such-layer"
    assert _refusal(content, "svg", DrawingOptions(colour="#00ff00")).pointer == "/colour"
    assert _refusal(content, "svg", DrawingOptions(outline=3)).limit == "1 to 2"


def test_layers_of_a_dxf():
    document = _dxf()
    document.layers.add("CUT", color=1)
    document.layers.add("OFF", color=5).off()
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (40, 0), (40, 20), (0, 20)], close=True, dxfattribs={"layer": "CUT"})
    space.add_circle((100, 0), 8, dxfattribs={"layer": "OFF"})
    space.add_circle((200, 0), 5, dxfattribs={"layer": "CUT", "color": 5})

    assert _refusal(_bytes(document), "dxf").reason == "several-outlines"
    made = read_drawing(_bytes(document), "dxf", DrawingOptions(colour="#ff0000"))

    assert made.size == pytest.approx((40.0, 20.0))


def test_bulges_and_blocks_of_a_dxf():
    """A bulge of 1 is a half circle (DXF reference, LWPOLYLINE, group 42)."""
    document = _dxf()
    block = document.blocks.new("SLOT")
    block.add_lwpolyline([(0, 0, 0), (30, 0, 1), (30, 10, 0), (0, 10, 1)], format="xyb", close=True)
    document.modelspace().add_blockref("SLOT", (5, 5), dxfattribs={"rotation": 90, "xscale": 2, "yscale": 2})

    made = read_drawing(_bytes(document), "dxf", _PLAIN)

    assert made.size == pytest.approx((20.0, 80.0), abs=2 * FLATNESS)
    assert made.polygon.area == pytest.approx(4 * (300 + pi * 25), rel=2e-3)


@pytest.mark.outside
@pytest.mark.parametrize(
    ("size", "millimetres"),
    [
        # CSS Values and Units 4, 6.2: 1 in = 2.54 cm = 96 px = 72 pt = 6 pc, 1 Q = 1/4 mm
        ("80mm", 80.0), ("8cm", 80.0), ("2in", 50.8), ("144pt", 50.8), ("12pc", 50.8), ("200Q", 50.0),
    ],
)  # fmt: skip
def test_units_of_svg(size, millimetres):
    content = _svg('<rect width="640" height="640"/>', f'width="{size}" height="{size}" viewBox="0 0 640 640"')

    assert read_drawing(content, "svg", _PLAIN).size == pytest.approx((millimetres, millimetres), rel=2e-6)


@pytest.mark.outside
def test_coordinates_without_a_view_box_are_pixels():
    """SVG 2, 8.2: without a viewBox a user unit is a px, and 96 px are an inch."""
    content = _svg('<rect width="96" height="48"/>', 'width="100mm" height="100mm"')

    assert read_drawing(content, "svg", _PLAIN).size == pytest.approx((25.4, 12.7), rel=2e-6)


@pytest.mark.outside
@pytest.mark.parametrize(
    ("unit", "millimetres"), [("mm", 1), ("cm", 10), ("in", 25.4), ("pt", 127 / 360), ("px", 127 / 480)]
)
def test_the_unit_is_that_of_the_coordinates_if_the_file_has_none(unit, millimetres):
    content = _svg('<rect width="64" height="32"/>', 'width="640" height="50%" viewBox="0 0 64 32"')

    made = read_drawing(content, "svg", DrawingOptions(unit=unit))

    assert made.size == pytest.approx((64 * millimetres, 32 * millimetres))
    assert _refusal(content, "svg").pointer == "/unit"


@pytest.mark.outside
@pytest.mark.parametrize(
    ("code", "millimetres"),
    [
        # DXF reference, HEADER section, $INSUNITS; the inch and the foot as in ISO 80000-3
        (1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0), (8, 25.4e-6), (9, 25.4e-3), (10, 914.4),
        (13, 1e-3), (14, 100.0),
    ],
)  # fmt: skip
def test_units_of_dxf(code, millimetres):
    document = _dxf(code)
    side = 60.0 / millimetres
    document.modelspace().add_lwpolyline([(0, 0), (side, 0), (side, side), (0, side)], close=True)

    assert read_drawing(_bytes(document), "dxf", _PLAIN).size == pytest.approx((60.0, 60.0), rel=1e-6)


@pytest.mark.outside
def test_a_dxf_without_a_unit_is_asked_for_it():
    """$INSUNITS 0 is `unitless` (DXF reference, HEADER section)."""
    document = _dxf(0)
    document.modelspace().add_circle((0, 0), 1)

    assert (_refusal(_bytes(document), "dxf").pointer) == "/unit"
    assert read_drawing(_bytes(document), "dxf", DrawingOptions(unit="in")).size == pytest.approx((50.8, 50.8), abs=0.1)


@pytest.mark.outside
@pytest.mark.parametrize(
    ("inner", "outer"),
    # ISO 7089 plain washers, normal series, product grade A: nominal d1 min and d2 max, mm
    [(4.3, 9.0), (6.4, 12.0), (8.4, 16.0), (13.0, 24.0)],
)
def test_washers(inner, outer):
    document = _dxf()
    document.modelspace().add_circle((50, 50), outer / 2)
    document.modelspace().add_circle((50, 50), inner / 2)

    made = read_drawing(_bytes(document), "dxf", _PLAIN)

    assert made.size == pytest.approx((outer, outer), abs=2 * FLATNESS)
    assert np.ptp(made.holes[0], axis=0) == pytest.approx((inner, inner), abs=2 * FLATNESS)
    assert made.polygon.area == pytest.approx(pi / 4 * (outer**2 - inner**2), rel=0.03)


def test_a_thing_in_a_hole_is_another_thing():
    content = _svg('<circle cx="50" cy="50" r="40"/><circle cx="50" cy="50" r="30"/><circle cx="50" cy="50" r="10"/>')

    made = read_drawing(content, "svg", DrawingOptions(outline=1))

    assert len(made.holes) == 1
    assert read_drawing(content, "svg", DrawingOptions(outline=2)).size == pytest.approx((20, 20), abs=0.1)


def test_crossing_loops_are_merged_with_a_warning():
    made = read_drawing(_svg('<rect width="30" height="20"/><rect x="20" y="5" width="30" height="5"/>'), "svg", _PLAIN)

    assert made.size == pytest.approx((50.0, 20.0), abs=1e-3)
    assert "cross" in made.warnings[0]


def test_branching_lines_are_outlined_with_a_warning():
    made = read_drawing(_svg('<path d="M0 0h30v20"/><path d="M30 20h-30V0"/><path d="M0 0L30 20"/>'), "svg", _PLAIN)

    assert made.polygon.area == pytest.approx(600.0, rel=1e-4)
    assert made.warnings


def test_rotated_arcs():
    turned = _svg('<g transform="rotate(30) translate(60 0)"><rect width="40" height="20" rx="5"/></g>')

    made = read_drawing(turned, "svg", _PLAIN)

    assert made.polygon.area == pytest.approx(800 - (4 - pi) * 25, rel=2e-3)
    width = 2 * 5 + 30 * cos(radians(30)) + 10 * sin(radians(30))
    assert made.size[0] == pytest.approx(width, abs=2 * FLATNESS)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "not-xml"),
        (b"<svg", "not-xml"),
        (b"<html/>", "not-svg"),
        (b'<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><svg>&b;</svg>', "entities"),
        (b'<!DOCTYPE svg [<!ENTITY a SYSTEM "file:///etc/hostname">]><svg>&a;</svg>', "entities"),
        (_svg("<g>" * 100 + "</g>" * 100), "too-deep"),
        (_svg("<g/>" * 50_001), "too-large"),
        (_svg('<use id="a" href="#a"/>'), "too-large"),
        (_svg('<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>'), "too-large"),
        (_svg("".join(f'<g id="a{n}">' + f'<use href="#a{n + 1}"/>' * 10 + "</g>" for n in range(9))
              + '<rect id="a9" width="5" height="5"/>'), "too-large"),
        (_svg('<circle r="1e300"/>'), "unreadable"),
        (_svg('<path d="M0 0 L nan 5 z"/>'), "empty"),
        (_svg("<text>outline</text>"), "empty"),
    ],
    ids=["nothing", "torn", "html", "entity", "file", "deep", "many", "self", "ring", "bomb", "huge", "nan", "text"],
)  # fmt: skip
def test_hostile_svg_is_refused(content, reason):
    assert _refusal(content, "svg").reason == reason


def test_a_plain_document_type_is_allowed():
    public = b'<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" "http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">'

    assert read_drawing(public + _svg('<rect width="9" height="9"/>'), "svg", _PLAIN).size[0] == pytest.approx(9.0)


def test_nested_blocks_are_refused():
    document = _dxf()
    for level in range(12):
        block = document.blocks.new(f"B{level}")
        for _ in range(10):
            if level:
                block.add_blockref(f"B{level - 1}", (0, 0))
            else:
                block.add_circle((0, 0), 1)
    document.modelspace().add_blockref("B11", (0, 0))

    assert _refusal(_bytes(document), "dxf").reason == "too-large"


def test_a_block_in_itself_is_refused():
    document = _dxf()
    document.blocks.new("A").add_blockref("B", (0, 0))
    document.blocks.new("B").add_blockref("A", (0, 0))
    document.modelspace().add_blockref("A", (0, 0))

    assert _refusal(_bytes(document), "dxf").reason == "too-large"


@pytest.mark.parametrize("content", [b"", b"0\nSECTION\n", b"\x00" * 100, b"0\n" * 200_001])
def test_what_is_no_dxf_is_refused(content):
    assert _refusal(content, "dxf", DrawingOptions(unit="mm")).reason in {"unreadable", "too-large", "empty"}


def test_an_outline_of_a_kilometre_is_refused():
    with pytest.raises(SilhouetteError) as refusal:
        read_drawing(
            _svg('<rect width="64" height="32"/>', 'width="1000in" height="500in" viewBox="0 0 64 32"'), "svg", _PLAIN
        )

    assert refusal.value.reason == "size"

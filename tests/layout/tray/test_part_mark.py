"""Marks under trays and plugs."""

from functools import partial
from importlib.resources import files
from math import hypot

import pytest
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st

from worker.layout.model.shapes import MagnetHoles, TrayShape
from worker.layout.tray import part_mark
from worker.layout.tray.coupon import coupon_shapes
from worker.layout.tray.part_mark import text_size
from worker.spec.drawer.joint import CORNER_RADIUS, Joint, default_profile

JOINT = Joint(default_profile(0.3, 0.44), 0.3, 0.44)

tray_mark = partial(part_mark.tray_mark, line_width=0.44)
plug_mark = partial(part_mark.plug_mark, line_width=0.44)


def tray(halves: tuple[int, int], *, half_feet: bool = False, magnets: MagnetHoles | None = None) -> TrayShape:
    return TrayShape(
        halves=halves, half_feet=half_feet, pitch=42.0, inset=0.3, foot_levels=JOINT.foot_levels(), rim_levels=None,
        corner_radius=CORNER_RADIUS, height=40.0, wall=1.2, floor_top=5.5, fill_top=5.5, magnets=magnets,
    )  # fmt: skip


def test_a_text_takes_the_width_of_its_ink() -> None:
    # The advance widths of the font file are the ink and the air at both ends.
    font = TTFont(str(files("reportlab") / "fonts" / "VeraBd.ttf"))
    cap = font["glyf"]["H"].yMax
    names, advances = font.getBestCmap(), font["hmtx"]
    for text in ("T1", "F10", "K1", "C2", ".25", "1.05"):
        width = sum(advances[names[ord(sign)]][0] for sign in text) / cap * 6.0
        assert 0.85 * width <= text_size(text, 6.0)[0] <= width
        assert 6.0 <= text_size(text, 6.0)[1] <= 6.3


def test_a_mark_stands_under_the_middle_foot() -> None:
    mark = tray_mark(tray((6, 4)), "T12")
    assert mark is not None
    assert (mark.text, mark.face, mark.cap_height, mark.raised) == ("T12", "bottom", 6.0, False)
    # The part's frame starts 0.3 mm inside its cells: foot 2 of 3, foot 1 of 2.
    assert mark.at == (42 * 1.5 - 0.3, 42 * 0.5 - 0.3)


def test_a_half_foot_with_a_magnet_takes_a_smaller_mark_beside_it() -> None:
    middle = 10.5 - 0.3
    mark = tray_mark(
        tray((1, 1), half_feet=True, magnets=MagnetHoles(6.0, 2.0, ((middle, middle),))), "T1", line_width=0.44
    )
    assert mark is not None
    assert mark.cap_height < 6.0
    assert mark.at[0] == middle
    assert abs(mark.at[1] - middle) >= 3.0 + mark.cap_height / 2.0


def test_a_foot_full_of_magnet_stays_unmarked() -> None:
    middle = 10.5 - 0.3
    assert (
        tray_mark(
            tray((1, 1), half_feet=True, magnets=MagnetHoles(14.0, 2.0, ((middle, middle),))), "T1", line_width=0.44
        )
        is None
    )


@given(
    st.tuples(st.integers(1, 4), st.integers(1, 4)),
    st.floats(2, 12),
    st.floats(4, 16),
    st.integers(1, 999),
)
@settings(max_examples=60, deadline=None)
def test_no_mark_touches_a_magnet_or_the_edge_of_its_foot(
    cells: tuple[int, int], diameter: float, reach: float, number: int
) -> None:
    centres = tuple(
        ((i + 0.5) * 42 - 0.3 + a * reach, (j + 0.5) * 42 - 0.3 + b * reach)
        for i in range(cells[0]) for j in range(cells[1]) for a in (-1, 1) for b in (-1, 1)
    )  # fmt: skip
    mark = tray_mark(
        tray((2 * cells[0], 2 * cells[1]), magnets=MagnetHoles(diameter, 2.0, centres)), f"T{number}", line_width=0.44
    )
    if mark is None:
        return
    width, depth = text_size(mark.text, mark.cap_height)
    for x, y in centres:
        aside = hypot(max(abs(x - mark.at[0]) - width / 2, 0.0), max(abs(y - mark.at[1]) - depth / 2, 0.0))
        assert aside >= diameter / 2 + 0.79
    edge = JOINT.foot_levels()[0][0] - 0.3
    for axis, half in ((0, width / 2), (1, depth / 2)):
        inside = (mark.at[axis] - edge) % 42.0
        assert half + 0.79 <= inside <= 42 - 2 * (edge + 0.3) - half - 0.79


def test_a_plug_is_marked_in_its_middle() -> None:
    _, plug = coupon_shapes(JOINT, 42.0, "C1")
    mark = plug_mark(plug, "C2")
    assert mark is not None
    assert mark.at == pytest.approx((plug.cell / 2 - plug.inset,) * 2, abs=0.0005)  # on the grid of 1 um


def test_a_coarse_line_has_no_mark_that_would_not_print() -> None:
    fine, coarse = (part_mark.tray_mark(tray((6, 4)), "T12", line_width=width) for width in (0.88, 1.1))
    assert fine is not None
    assert fine.cap_height == 6.0
    assert coarse is None

"""Panels in a drawer: where they run, what holds them, how they are cut, and what is refused."""

import itertools

import pytest
from hypothesis import given, reject, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from tests.layout.panels.jobs import panel_plan
from worker.layout.panels.profile import CLIP, PRESS, STUB, TAB_REACH, TRAVEL, PanelProfile
from worker.layout.panels.strip import tab_count
from worker.output.checks.assembly_checks import check_assembly
from worker.solids import build
from worker.spec.errors import PanelError

ACROSS = {"along": "x", "at": 150, "height": 60}
DEEP = {"along": "y", "at": 200, "height": 60}


def only(plan):
    (drawer,) = plan.drawers
    return drawer


def test_a_panel_runs_from_side_to_side_between_two_shoes():
    drawer = only(panel_plan(ACROSS, bed=(500, 500, 200)))
    (panel,) = drawer.panels
    profile = PanelProfile(0.44, 0.3)
    # the usable width is 419 mm; a shoe takes its travel and hub, less what it is pressed by and the gap of 0.5 mm
    seat = TRAVEL + profile.hub - PRESS - 0.5
    assert (panel.start, panel.end) == pytest.approx((seat, 419.0 - seat))
    assert panel.at == 149.5
    assert len(panel.shoes) == 2
    assert panel.pieces == (0,)


def test_its_height_is_the_free_height_unless_given():
    (panel,) = only(panel_plan({"along": "x", "at": 150}, bed=(500, 500, 200))).panels
    assert panel.height == 68.0  # 2 mm of air under the frame


def test_panels_that_cross_have_a_lap_at_the_same_place():
    drawer = only(panel_plan(ACROSS, DEEP))
    across, deep = drawer.panels
    assert across.crossings == (deep.at,)
    assert deep.crossings == (across.at,)
    assert (across.crossed, deep.crossed) == ((1,), (0,))


def test_an_end_on_another_panel_is_let_through_it():
    across, short = only(panel_plan(ACROSS, {**DEEP, "start": 150})).panels
    assert short.start == across.at - STUB
    assert len(short.shoes) == 1


def test_a_panel_longer_than_the_bed_is_cut_clear_of_crossings():
    drawer = only(panel_plan(ACROSS, {**DEEP, "at": 140}, {**DEEP, "at": 280}))
    across = drawer.panels[0]
    assert across.splices
    for cut, crossing in itertools.product(across.splices, across.crossings):
        assert abs(cut - crossing) > TAB_REACH + 2.0


def test_strips_fit_the_bed_and_are_about_equal():
    plan = panel_plan(ACROSS, width=600)
    sizes = [part.size for part in plan.parts if part.kind == "panel"]
    assert all(max(size[:2]) <= 180.0 for size in sizes)
    lengths = [size[0] for size in sizes]
    assert max(lengths) - min(lengths) < 2 * TAB_REACH


def test_a_splice_has_a_clip_below_it():
    drawer = only(panel_plan(ACROSS))
    (panel,) = drawer.panels
    assert len(panel.clips) == len(panel.splices) == 2
    for clip, cut in zip(panel.clips, panel.splices, strict=True):
        assert drawer.placements[clip].at[0] + CLIP / 2.0 == pytest.approx(cut)


def test_equal_shoes_share_a_mark():
    plan = panel_plan(ACROSS, DEEP)
    (shoe,) = (part for part in plan.parts if part.kind == "shoe")
    assert shoe.quantity == 4


@pytest.mark.parametrize(("height", "tabs"), [(25.0, 1), (60.0, 1), (80.0, 2), (200.0, 5)])
def test_a_splice_has_a_tab_for_each_forty_millimetres(height, tabs):
    assert tab_count(height) == tabs


def test_the_thickness_follows_the_longest_stretch_between_two_holds():
    thick = {}
    for width in (300, 420, 600):
        (panel,) = only(panel_plan(ACROSS, width=width)).panels
        thick[width] = panel.thickness
        assert panel.span <= 150.0 * panel.thickness or panel.thickness == 4.0
    assert thick == {300: 2.4, 420: 2.8, 600: 4.0}
    crossed = only(panel_plan(ACROSS, {**DEEP, "at": 300}, width=600)).panels[0]
    assert crossed.thickness == 2.4


def test_shoes_press_half_of_what_would_bend_the_panel_at_most():
    for width in (300, 420, 600, 900):
        (panel,) = only(panel_plan(ACROSS, width=width, bed=(256, 256, 256))).panels
        assert 0.0 < panel.press <= panel.buckling / 2.0


def test_shoes_near_a_corner_have_shorter_wings_or_a_single_one():
    wide = panel_plan({**ACROSS, "at": 150})
    near = panel_plan({**ACROSS, "at": 26})
    shoes = [max(part.size[1] for part in plan.parts if part.kind == "shoe") for plan in (wide, near)]
    assert shoes[1] <= 2 * 25.5
    assert shoes[0] >= shoes[1]
    single = panel_plan({**ACROSS, "at": 12})
    (panel,) = only(single).panels
    (left, _) = (only(single).placements[index] for index in panel.shoes)
    # all of the wing is behind the panel
    assert left.at[1] > panel.at - 5.0
    assert 0.0 < panel.press < only(wide).panels[0].press


def refused(*panels, **fields):
    with pytest.raises(PanelError) as caught:
        panel_plan(*panels, **fields)
    assert caught.value.remedy
    assert caught.value.limit
    return caught.value.pointer


def test_what_cannot_stand_is_refused_with_its_pointer():
    assert refused({**ACROSS, "start": 100}) == "/drawers/0/panels/0"
    assert refused({**ACROSS, "height": 69}) == "/drawers/0/panels/0/height"
    assert refused(ACROSS, {**ACROSS, "at": 155}) == "/drawers/0/panels/1/at"
    assert refused(ACROSS, {**DEEP, "end": 150}, {**DEEP, "start": 150}) == "/drawers/0/panels/2/at"
    assert refused({**ACROSS, "at": 299}) == "/drawers/0/panels/0/at"
    assert refused({**ACROSS, "end": 430}) == "/drawers/0/panels/0/end"
    assert refused({"along": "x", "at": 150}, height=190, depth=400) == "/drawers/0/panels/0/height"
    assert refused(ACROSS, {**DEEP, "at": 6}) == "/drawers/0/panels/1/at"
    assert refused({**ACROSS, "thickness": 1.6}, width=1200) == "/drawers/0/panels/0/thickness"


def test_an_obstacle_in_the_way_is_named_with_the_free_stretches():
    obstacles = [{"at": [200, 140], "size": [20, 20]}]
    with pytest.raises(PanelError, match="obstacle") as caught:
        panel_plan(ACROSS, obstacles=obstacles)
    assert caught.value.limit == "0.5 to 199.5 mm or 220.5 to 419.5 mm"


def test_a_slack_panel_carries_a_warning():
    plan = panel_plan({**ACROSS, "height": 30}, width=900)
    assert any("slack" in warning.message for warning in plan.warnings)
    assert all(warning.pointer == "/drawers/0/panels/0" for warning in plan.warnings)


def test_a_gap_beyond_what_shoes_make_up_for_carries_a_warning():
    plan = panel_plan(ACROSS, gap=5)
    assert "/drawers/0/gap" in [warning.pointer for warning in plan.warnings]


@st.composite
def drawers(draw):
    """Draw a drawer with up to four panels."""
    width, depth = draw(st.integers(200, 1200)), draw(st.integers(150, 600))
    panels = []
    for along in draw(st.lists(st.sampled_from("xy"), min_size=1, max_size=4)):
        across = depth if along == "x" else width
        panel = {"along": along, "at": draw(st.integers(5, across - 5)), "height": draw(st.integers(25, 90))}
        panels.append(panel)
    readings = [width + draw(st.integers(-3, 3)) for _ in range(draw(st.integers(1, 3)))]
    bed = draw(st.sampled_from([(120, 120, 120), (180, 180, 180), (256, 256, 256)]))
    return panels, {"width": readings, "depth": depth, "height": 100, "bed": bed}


@settings(deadline=None, max_examples=60)
@given(drawers())
def test_every_part_lies_in_the_drawer_and_fits_the_bed(drawn):
    panels, fields = drawn
    try:
        plan = panel_plan(*panels, **fields)
    except PanelError:
        reject()
    drawer = only(plan)
    outer, *holes = drawer.outline
    usable = Polygon(outer, holes).buffer(1e-3)
    parts = {part.mark: part for part in plan.parts}
    for place in drawer.placements:
        wide, deep, high = parts[place.mark].size
        assert max(wide, deep) <= fields["bed"][0]
        if place.upright:
            deep, high = high, deep
        if place.turn in {90, 270}:
            wide, deep = deep, wide
        x, y, z = place.at
        assert usable.covers(box(x, y, x + wide, y + deep))
        assert z == 0.0
        assert high <= 98.0
    for panel in drawer.panels:
        assert panel.press <= panel.buckling
        assert len(panel.pieces) == len(panel.splices) + 1


@pytest.mark.parametrize("crossings", [(73.3, 137.1, 179.7, 243.3, 312.5), (60, 150, 200, 290, 360)])
def test_strips_between_crossings_are_longer_than_a_clip(crossings):
    across = [{"name": f"d{n}", "along": "x", "at": at, "height": 40} for n, at in enumerate(crossings)]
    row = {"name": "row", "along": "y", "at": 150, "height": 40}
    plan = panel_plan(row, *across, width=300, depth=433, height=100, bed=(110, 110, 150))
    drawer = only(plan)
    starts = [drawer.placements[index].at[1] for index in drawer.panels[0].pieces]
    assert len(starts) > 4
    assert all(after - before > CLIP for before, after in itertools.pairwise(starts[1:]))
    meshes = {part.mark: build(part.shape) for part in plan.parts}
    assert [check for check in check_assembly(plan, meshes) if not check.passed] == []

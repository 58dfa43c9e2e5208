from dataclasses import replace

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.printing.estimating.layer_oracle import filament
from tests.printing.estimating.parts import part, parts
from tests.printing.estimating.path_oracle import laying
from worker.printing.estimating.estimate import estimate
from worker.printing.estimating.process import BASE_FLOW, LIMITS, Process
from worker.solids import Mesh
from worker.spec.errors import SpecError

SOLID = Process(infill=1.0)


def block(x, y, z):
    return Mesh.of(manifold3d.Manifold.cube([x, y, z]))


def box(x, y, z, wall):
    inside = manifold3d.Manifold.cube([x - 2 * wall, y - 2 * wall, z]).translate([wall, wall, wall])
    return Mesh.of(manifold3d.Manifold.cube([x, y, z]) - inside)


side = st.floats(3.0, 120.0)


@given(side, side, st.floats(0.6, 60.0))
@settings(max_examples=40)
def test_a_solid_block_is_its_own_volume(x, y, z):
    assert estimate(block(x, y, z), SOLID).volume == pytest.approx(x * y * z, rel=1e-6)


@given(st.floats(8.0, 90.0), st.floats(8.0, 90.0), st.floats(4.0, 60.0))
@settings(max_examples=40)
def test_a_sparse_block_by_closed_form(x, y, z):
    """Walls all round, skins at both ends, a part of the core between."""
    process = Process()
    depth = process.walls * process.line_width
    skins = (process.top_layers + process.bottom_layers) * process.layer
    core = (x - 2 * depth) * (y - 2 * depth) * (z - skins)
    expected = x * y * z - (1 - process.infill) * core
    assert estimate(block(x, y, z), process).volume == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("wall", [0.88, 1.2, 2.0, 2.5])
def test_a_box_of_thin_walls_is_solid(wall):
    made = box(60.0, 40.0, 30.0, wall)
    volume = estimate(made, Process(bottom_layers=13, top_layers=13)).volume  # 2.6 mm: the floor is all skin
    assert volume == pytest.approx(made.volume, rel=1e-6)


def test_a_long_line_takes_its_length_over_the_speed():
    """One wall round a block as thin as a line, without acceleration, travel or heat: path over speed."""
    process = Process(
        walls=1, acceleration=1e12, hop=0.0, travel_speed=1e9, layer_change=0.0, heat_up=0.0, max_flow=1e9,
        first_layer_speed=100.0, outer_speed=100.0, inner_speed=100.0,
    )  # fmt: skip
    result = estimate(block(1000.0, process.line_width, 2.0), process)
    assert result.layers == 10
    assert result.time == pytest.approx(10 * 1000.0 / 100.0, rel=1e-3)


def test_the_flow_limits_the_speed():
    """At a flow that every line is over, a solid block takes its volume over the flow."""
    process = replace(SOLID, max_flow=0.5, acceleration=1e12, hop=0.0, travel_speed=1e9, layer_change=0.0, heat_up=0.0)
    made = block(30.0, 30.0, 6.0)
    assert estimate(made, process).time == pytest.approx(made.volume / 0.5, rel=1e-3)


def test_what_adds_up():
    process = Process(heat_up=200.0, layer_change=2.0)
    result = estimate(block(20.0, 20.0, 10.0), process)
    assert result.layers == 50
    assert result.time == pytest.approx(200.0 + 50 * 2.0 + result.laying)


def test_density_and_price():
    made = block(20.0, 20.0, 10.0)
    single = estimate(made, Process(density=1.0))
    two = estimate(made, Process(density=2.0, cost_per_kg=25.0))
    assert two.mass == pytest.approx(2.0 * single.mass)
    assert (two.volume, two.length, two.time) == (single.volume, single.length, single.time)
    assert single.cost is None
    assert two.cost == pytest.approx(two.mass * 0.025)


def test_thinner_layers_take_longer():
    for _, mark, mesh in parts("small"):
        times = [estimate(mesh, Process(layer=layer)).time for layer in (0.28, 0.24, 0.2, 0.16, 0.12, 0.08)]
        assert times == sorted(times), mark
        # at 0.32 mm the flow is the limit of nearly all lines and the skins are thicker: no gain, nor much of a loss
        assert estimate(mesh, Process(layer=0.32)).time < 1.02 * times[0], mark


def test_more_of_anything_is_more_plastic():
    mesh = part("small", "T1")
    plain = estimate(mesh, Process())
    for more in ({"infill": 0.4}, {"walls": 4}, {"top_layers": 8}, {"bottom_layers": 8}):
        assert estimate(mesh, Process(**more)).volume > plain.volume
    assert plain.volume < estimate(mesh, SOLID).volume == pytest.approx(mesh.volume, rel=1e-6)


def test_slower_is_longer():
    mesh = part("small", "T2")
    plain = estimate(mesh, Process()).time
    for less in (
        {"outer_speed": 50.0}, {"inner_speed": 60.0}, {"full_layer_speed": 60.0}, {"infill_speed": 60.0},
        {"first_layer_speed": 20.0}, {"travel_speed": 100.0}, {"acceleration": 500.0}, {"max_flow": 4.0},
    ):  # fmt: skip
        assert estimate(mesh, Process(**less)).time > plain, less


@pytest.mark.parametrize("mark", ["F1", "T1", "T2"])
def test_turned_about_z_and_moved_it_is_the_same(mark):
    mesh = part("small", mark)
    turned = Mesh(mesh.vertices @ np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]) + 7.0, mesh.triangles)
    straight, two = estimate(mesh, Process()), estimate(turned, Process())
    assert two.volume == pytest.approx(straight.volume, rel=1e-4)
    assert two.time == pytest.approx(straight.time, rel=1e-3)
    assert two.layers == straight.layers


def test_the_same_again():
    mesh = part("small", "T2")
    assert estimate(mesh, Process()) == estimate(mesh, Process())


@pytest.mark.parametrize("name", LIMITS)
def test_each_material_has_a_process(name):
    process = Process.of(name.lower())
    assert process.max_flow == pytest.approx(BASE_FLOW * LIMITS[name][0])
    assert process.outer_speed <= LIMITS[name][1]
    assert max(process.inner_speed, process.full_layer_speed, process.infill_speed) <= LIMITS[name][2]


def test_an_unknown_material_and_the_defaults_are_printed_as_pla():
    assert Process.of("oak") == Process.of("PLA") == Process()


@pytest.mark.parametrize(
    ("field", "value"),
    [("layer", 0.0), ("layer", float("nan")), ("infill", 1.2), ("infill", -0.1), ("walls", 0), ("cost_per_kg", -1.0)],
)
def test_what_no_printer_does_is_refused(field, value):
    with pytest.raises(SpecError) as refused:
        Process(**{field: value})
    assert refused.value.pointer == f"/{field}"
    assert refused.value.remedy


# None of these was looked at while the bands were shaped: that was done on bench-drawer and out-of-square.
HELD_OUT = [
    *(("two-drawers", mark) for mark in ("F1", "F2", "T1", "T4", "T5")),
    *(("small", mark) for mark in ("F1", "T1", "T2")),
    *(("coarse", mark) for mark in ("F1", "T1", "T2", "C1", "C2")),
]


@pytest.mark.parametrize(("name", "mark"), HELD_OUT)
def test_filament_against_a_model_of_every_layer(name, mark):
    process = Process()
    if name == "coarse":
        process = Process(layer=0.3, first_layer=0.3, line_width=0.63, walls=2, top_layers=4, bottom_layers=3)
    mesh = part(name, mark)
    # the goal was 6 %; this is what holds
    assert estimate(mesh, process).volume == pytest.approx(filament(mesh, process), rel=0.01)


@pytest.mark.parametrize(("walls", "infill"), [(2, 0.1), (4, 0.4)])
def test_filament_with_other_walls_and_infill(walls, infill):
    process = Process(walls=walls, infill=infill)
    for mark in ("F1", "T2"):
        mesh = part("small", mark)
        assert estimate(mesh, process).volume == pytest.approx(filament(mesh, process), rel=0.01)


#: Parts for the model of every line. More of them, and others, were walked when constants were chosen.
WALKED = [
    *(("small", mark) for mark in ("F1", "T1", "T2")),
    *(("coarse", mark) for mark in ("F1", "T1", "T2", "C1")),
    ("lanes", "S1"),
    *(("by-hand", mark) for mark in ("F1", "T3")),
    ("l-shaped", "F1"),
    ("two-drawers", "T1"),
]


def test_print_time_against_a_model_of_every_line():
    coarse = Process(layer=0.3, first_layer=0.3, line_width=0.63, walls=2, top_layers=4, bottom_layers=3)
    ratios = []
    for name, mark in WALKED:
        process = coarse if name == "coarse" else Process()
        mesh = part(name, mark)
        ratios.append(estimate(mesh, process).laying / laying(mesh, process))
    assert min(ratios) > 0.95
    assert max(ratios) < 1.05
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.01)


def test_a_layer_without_acceleration_takes_its_lines_over_the_speed():
    """One layer of a square block by closed form: three loops, and hatch lines that cover what they enclose."""
    side, process = 40.0, Process(layer_change=0.0, heat_up=0.0, hop=0.0, travel_speed=1e9, acceleration=1e12)
    made = block(side, side, process.layer)
    loops = [side - (2 * loop + 1) * process.line_width for loop in range(process.walls)]
    inside = side - 2 * process.walls * process.line_width
    path = 4.0 * sum(loops) + inside**2 / process.line_width
    assert estimate(made, process).laying == pytest.approx(path / process.first_layer_speed, rel=1e-3)


@given(st.floats(4.0, 40.0), st.floats(0.0, 1.0))
def test_print_time_below_a_height_grows_to_all_of_it(height, part):
    result = estimate(block(30.0, 40.0, height), SOLID)
    assert result.laying_below(0.0) == 0.0
    assert result.laying_below(height) == pytest.approx(result.laying)
    assert result.laying_below(part * height) <= result.laying_below(min(1.0, part + 0.1) * height)
    # the layers of a block are alike but for the first, which is slower
    middle, end = result.laying_below(0.5 * height + 0.1), result.laying_below(height)
    first = result.laying_below(SOLID.first_layer)
    share = (0.5 * height + 0.1 - SOLID.first_layer) / (height - SOLID.first_layer)
    assert middle - first == pytest.approx(share * (end - first), rel=1e-6)


@pytest.mark.parametrize("infill", [0.1, 0.2, 0.4])
def test_a_sparse_core_takes_its_lines_over_the_speed(infill):
    """Lines as long as the core's area times the share of infill over the line's width, without acceleration."""
    process = Process(
        infill=infill, acceleration=1e12, hop=0.0, travel_speed=1e9, layer_change=0.0, heat_up=0.0, max_flow=1e9,
        infill_speed=50.0, full_layer_speed=1e9, outer_speed=1e9, inner_speed=1e9, first_layer_speed=1e9,
    )  # fmt: skip
    side, height = 200.0, 40.0
    depth = process.walls * process.line_width
    core = height - (process.top_layers + process.bottom_layers) * process.layer
    lines = (side - 2.0 * depth) ** 2 * core / process.layer * infill / process.line_width
    assert estimate(block(side, side, height), process).time == pytest.approx(lines / 50.0, rel=0.05)


@pytest.mark.parametrize("thick", [1.0, 1.5, 2.0, 2.4])
def test_a_fin_takes_as_long_beside_a_block_as_alone(thick):
    """Without acceleration and travel times add up; a fin's walls are as many as fit, whatever stands beside it."""
    process = replace(SOLID, acceleration=1e12, hop=0.0, travel_speed=1e9, layer_change=0.0, heat_up=0.0, max_flow=1e9)
    plate, fin = (manifold3d.Manifold.cube((wide, 200.0, 20.0)) for wide in (30.0, thick))
    alone = [estimate(Mesh.of(solid), process).time for solid in (plate, fin)]
    together = estimate(Mesh.of(plate + fin.translate((50.0, 0.0, 0.0))), process).time
    assert together == pytest.approx(sum(alone), rel=0.02)

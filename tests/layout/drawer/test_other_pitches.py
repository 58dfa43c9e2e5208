"""Other pitches: they cover more of a drawer than the one at hand."""

from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

from worker.layout.drawer.grid_placement import fit_lattice
from worker.layout.drawer.other_pitches import other_pitches

_side = st.integers(90, 300)


@settings(max_examples=10, deadline=None)
@given(_side, _side, st.sampled_from([30.0, 42.0, 50.0]), st.booleans())
def test_the_grid_of_another_pitch_covers_more_of_a_rectangle(width, depth, pitch, half_cells):
    area = box(0.0, 0.0, width, depth)

    def covered(side):
        cells = fit_lattice(area, pitch=side, half_cells=half_cells).cells
        return sum(cell.width * cell.depth for cell in cells) * (side / 2.0) ** 2

    others = other_pitches(area, pitch, half_cells=half_cells)
    assert all(abs(other - pitch) <= 0.3 * pitch + 1e-9 for other in others)
    areas = [covered(other) for other in (*others[:1], *others[-1:])]
    assert all(area > covered(pitch) for area in areas)
    assert areas == sorted(areas, reverse=True)

"""Text at the bottom of pockets as a mesh: cut into the bottom, and nothing else."""

import pytest
import shapely
import trimesh

from tests.layout.tray.pockets.test_nesting import _SPANNER, _pocket
from tests.layout.tray.test_tray_builder import shape_of
from worker.solids.engraving import text_rings
from worker.solids.kernel import build


def _volume(shape):
    mesh = build(shape)
    solid = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    assert solid.is_watertight
    return solid.volume


@pytest.mark.parametrize("turn", [0.0, 33.0])
def test_the_letters_are_cut_into_the_bottom_of_the_pocket(turn):
    spanner = shapely.affinity.translate(shapely.affinity.rotate(_SPANNER, turn), 100.0, 100.0)
    plain = shape_of(cells=[5, 3], height=30.0, pockets=[_pocket(spanner)])
    lettered = shape_of(cells=[5, 3], height=30.0, pockets=[_pocket(spanner, text="SPANNER 17")])
    assert plain.pockets == lettered.pockets
    (lettering,) = lettered.letterings
    # outer rings are counter-clockwise, holes clockwise: their signed areas add up (shoelace formula)
    area = (
        sum(
            float((ring[:, 0] * ring[[*range(1, len(ring)), 0], 1]).sum())
            - float((ring[[*range(1, len(ring)), 0], 0] * ring[:, 1]).sum())
            for ring in text_rings(lettering)
        )
        / 2.0
    )
    assert area > 0.0
    assert _volume(plain) - _volume(lettered) == pytest.approx(area * lettering.depth, rel=0.01)

"""Tiles to build on, drawn by their own rules rather than the layout's: borders, tabs, recesses, windows, halves."""

from hypothesis import assume
from hypothesis import strategies as st

from worker.layout.floor.tile_mark import mark_lettering
from worker.layout.model.shapes import Socket, TileShape
from worker.spec.drawer.joint import CORNER_RADIUS, Joint, default_profile
from worker.spec.errors import JointError

JOINT = Joint(default_profile(0.3, 0.44), 0.3, 0.44)


def tile(columns, rows, *, pitch=42.0, joint=JOINT, border=(0.0, 0.0, 0.0, 0.0), halves=(False, False), **more):
    """Return a tile of ``columns`` by ``rows`` cells with borders left, front, right, back.

    ``halves`` adds a column and a row of half cells; ``missing`` leaves out sockets by place; ``seam`` adds tabs on the
    right and recesses on the left; ``windows`` opens the right border; ``mark`` engraves one where there is room.
    """
    left, front, right, back = border
    widths = [pitch] * columns + [pitch / 2.0] * halves[0]
    depths = [pitch] * rows + [pitch / 2.0] * halves[1]
    xs = [round(left + sum(widths[:index]), 3) for index in range(len(widths) + 1)]
    ys = [round(front + sum(depths[:index]), 3) for index in range(len(depths) + 1)]
    sockets = [
        Socket(x, y, width, depth)
        for x, width in zip(xs, widths, strict=False)
        for y, depth in zip(ys, depths, strict=False)
    ]
    gone = more.get("missing", ())
    sockets = [socket for place, socket in enumerate(sockets) if place % len(sockets) not in gone] or sockets
    across, deep = round(xs[-1] + right, 3), round(ys[-1] + back, 3)
    nodes = ys[1:-1] if more.get("seam") else []
    ring = [(0.0, 0.0), (across, 0.0)]
    for y in nodes:
        ring += [(across, y - 0.7), (across + 1.3, y - 1.0), (across + 1.3, y + 1.0), (across, y + 0.7)]
    ring += [(across, deep), (0.0, deep)]
    for y in reversed(nodes):
        ring += [(0.0, y + 0.8), (1.5, y + 1.1), (1.5, y - 1.1), (0.0, y - 0.8)]
    windows = ()
    if more.get("windows") and right >= 8.0:
        x0, x1 = xs[-1] + 2.0, across - 2.0
        windows = (((x0, 2.0), (x1, 2.0), (x1, deep - 2.0), ((x0 + x1) / 2.0, deep - 1.5), (x0, deep - 2.0)),)
    shape = TileShape(
        outline=rounded(ring),
        windows=tuple(rounded(window) for window in windows),
        sockets=tuple(sockets),
        levels=joint.socket_levels(),
        corner_radius=CORNER_RADIUS,
        height=joint.height,
    )
    if more.get("mark"):
        lettering = mark_lettering(shape, more["mark"], line_width=joint.line_width)
        shape = TileShape(
            *(getattr(shape, name) for name in TileShape.__slots__[:-1]), (lettering,) if lettering else ()
        )
    return shape


def rounded(ring):
    return tuple((round(x, 3), round(y, 3)) for x, y in ring)


@st.composite
def joints(draw):
    """Return any profile that passes the joint's own checks, up to seven points."""
    clearance = draw(st.sampled_from([0.1, 0.3, 0.4]))
    if draw(st.booleans()):
        return Joint(default_profile(clearance, 0.44), clearance, 0.44)
    points = [(clearance + 0.88 + draw(st.floats(0.0, 0.5)), 0.0)]
    for rise, share in draw(
        st.lists(st.tuples(st.floats(0.3, 1.5), st.sampled_from([0.0, 0.5, 1.0])), min_size=1, max_size=6)
    ):
        points.append((points[-1][0] - rise * share, points[-1][1] + rise))
    # Moved in by as much as its top stands too far out.
    move = max(0.0, clearance + 0.89 - points[-1][0])
    try:
        return Joint(tuple((round(u + move, 3), round(z, 3)) for u, z in points), clearance, 0.44)
    except JointError:
        assume(False)  # noqa: FBT003 - hypothesis's own way


borders = st.one_of(st.just(0.0), st.floats(2.0, 20.0).map(lambda length: round(length, 3)))


@st.composite
def tiles(draw):
    joint = draw(joints())
    pitch = draw(st.sampled_from([24.0, 36.0, 42.0, 50.8, 60.0]))
    halves = draw(st.tuples(st.booleans(), st.booleans())) if pitch > 30.0 else (False, False)
    widest = max(inset for inset, _ in joint.foot_levels())
    assume((pitch / 2.0 if any(halves) else pitch) - 2.0 * widest >= 5.0)
    return tile(
        draw(st.integers(1, 4)),
        draw(st.integers(1, 3)),
        pitch=pitch,
        joint=joint,
        border=draw(st.tuples(borders, borders, borders, borders)),
        halves=halves,
        missing=draw(st.frozensets(st.integers(0, 19), max_size=3)),
        seam=draw(st.booleans()),
        windows=draw(st.booleans()),
        mark=draw(st.sampled_from([None, "F1", "F12", "F108"])),
    )

"""Things of a maker's bench to size trays for, and grounds to size them on."""

from hypothesis import strategies as st

from worker.layout.items.filling.filled_tray import tray_option
from worker.layout.items.filling.likeness import families, use_of
from worker.layout.placement.columns.assortment import Assortment
from worker.layout.placement.columns.column_pricing import columns
from worker.layout.placement.columns.objective import WEIGHTS
from worker.layout.storage.sizing_rules import DrawerLimits
from worker.spec.drawer.joint import Joint, default_profile
from worker.spec.items.item import Item

_side = st.floats(2.0, 90.0).map(lambda length: round(length, 1))
_boxes = st.tuples(_side, _side, _side).map(lambda size: {"kind": "box", "size": size})
_cylinders = st.tuples(_side, _side).map(lambda pair: {"kind": "cylinder", "diameter": pair[0], "length": pair[1]})
_standards = st.sampled_from(
    [
        {"kind": "standard", "id": name}
        for name in (
            "battery-aa", "battery-aaa", "battery-9v", "battery-cr2032", "card-id1", "card-sd", "nut-m3", "nut-m8",
            "washer-m4", "bearing-608", "hexkey-4", "hexkey-8", "bit-6.3", "drill-4", "pen-ball",
        )
    ]
    + [
        {"kind": "standard", "id": "bolt-cap-m4", "length": 16},
        {"kind": "standard", "id": "bolt-hex-m8", "length": 40},
    ]
)  # fmt: skip
_polygons = st.sampled_from(
    [
        [[0, 0], [60, 0], [60, 20], [20, 20], [20, 50], [0, 50]],  # an angle
        [[5, 0], [45, 0], [50, 12], [25, 30], [0, 12]],  # a house
        [[0, 0], [40, 0], [40, 8], [8, 8], [8, 22], [40, 22], [40, 30], [0, 30]],  # a clamp, open to one side
        [[30, 0], [0, 0], [15, 26]],  # clockwise
    ]
).flatmap(lambda points: _side.map(lambda high: {"kind": "polygon", "points": points, "height": min(high, 40.0)}))

shapes = st.one_of(_standards, _standards, _boxes, _cylinders, _polygons)


def thing(shape, name="thing", **fields):
    """Return an item."""
    return Item.model_validate({"name": name, "shape": shape, **fields})


def standard(identity, **fields):
    """Return an item of the catalogue; ``length`` is a screw's."""
    length = {"length": fields.pop("length")} if "length" in fields else {}
    return thing({"kind": "standard", "id": identity, **length}, **fields)


def ground(span=(14, 18), height=70.0, *, half_cells=True, pitch=42.0, line_width=0.44, **fields):
    """Return a drawer's ground with the default joint."""
    joint = Joint(default_profile(0.3, line_width), 0.3, line_width)
    return DrawerLimits(joint, pitch, line_width, half_cells, span, height, **fields)


@st.composite
def handling(draw, shape, storage):
    """Draw how a thing of a shape is handled: nothing, a pose, that it nests, or that it is soft."""
    high = {"box": lambda: shape["size"][2], "cylinder": lambda: shape["length"], "polygon": lambda: shape["height"]}
    choices = [{}, {}]
    if storage is None:
        choices += [{"pose": pose} for pose in ("as_given", "flat", "on_edge", "upright", "any")]
    if shape["kind"] in high and storage in {None, "rows"}:
        side = high[shape["kind"]]()
        choices += [{"nest": round(draw(st.floats(0.1, 0.9)) * side, 1)}] * 2 if side > 2.0 else []
        pressed = None if shape["kind"] == "cylinder" else round(max(side * 0.6, 0.5), 1)
        choices += [{"soft": {"fill": 0.8, "height": pressed}}] if side > 1.0 else []
    return draw(st.sampled_from(choices))


@st.composite
def things(draw):
    """Draw an item."""
    storage = draw(st.sampled_from([None, None, "rows", "upright", "loose", "pocket"]))
    shape = draw(shapes)
    if storage == "pocket" and shape["kind"] in {"box", "polygon"} and draw(st.booleans()):
        return thing(shape, count=draw(st.integers(1, 4)), storage=storage, engraved=True, access="often")
    return thing(
        shape,
        count=draw(st.integers(1, 12) | st.integers(1, 60 if storage == "pocket" else 200)),
        storage=storage,
        **draw(handling(shape, storage)),
        access=draw(st.sampled_from(["often", "sometimes", "rarely"])),
        label=draw(st.sampled_from([False, False, "M4", True])),
    )


@st.composite
def grounds(draw):
    """Draw a ground."""
    wide = draw(st.booleans())
    return ground(
        span=(draw(st.integers(2, 9)) * 2, draw(st.integers(2, 11)) * 2),
        height=draw(st.sampled_from([35.0, 55.0, 70.5, 110.0])),
        half_cells=draw(st.booleans()),
        pitch=draw(st.sampled_from([42.0, 42.0, 50.0])),
        line_width=0.66 if wide else 0.44,
        wall=1.32 if wide else 1.2,
    )


def assortment(items, ground, *, share="like"):
    """Return items with every footprint of a ground up to six cells."""
    sides = [range(ground.step, min(side, 12) + 1, ground.step) for side in ground.span]
    footprints = frozenset((wide, deep) for wide in sides[0] for deep in sides[1])
    return Assortment(tuple(items), families(items, share), use_of, ground, WEIGHTS["balanced"], footprints)


def tray_columns(items, ground, *, share="like"):
    """Return the columns of these items, the smallest first, and what they were made from."""
    stock = assortment(items, ground, share=share)
    left = {index: item.count for index, item in enumerate(items)}
    every = columns(stock, left, any_value=True).values()
    return stock, sorted(every, key=lambda column: (column.area, column.key))


def filled_trays(items, ground, *, share="like"):
    """Return every tray for these items with what is in it, the smallest first."""
    stock, every = tray_columns(items, ground, share=share)
    return [tray_option(stock, column) for column in every]

import json
from functools import reduce

import jsonschema
import pytest

from worker.spec import DENSITIES, Spec, load, loads
from worker.spec.drawer.tray import NO_RAMP, FingerRamp
from worker.spec.errors import JointError, LengthError, SpecError, TrayError

_TRAY = {"name": "bits", "cells": [1, 1], "height": 40}
_TOP = "/drawers/0"
_FIRST = "/drawers/0/trays/0"


def _with(**fields):
    """A change to the minimal spec: dots step into it, and None takes the field out."""
    return fields


def _changed(spec, change):
    for path, value in change.items():
        *steps, last = [int(step) if step.isdigit() else step for step in path.split("__")]
        place = reduce(lambda here, step: here[step], steps, spec)
        if isinstance(place, list):
            place.append(value)
        elif value is ...:
            del place[last]
        else:
            place[last] = value
    return spec


def _tray(**fields):
    return {"drawers__0__trays": [{**_TRAY, **fields}]}


def _drawer(**fields):
    return {f"drawers__0__{name}": value for name, value in fields.items()}


def _outline(points, **fields):
    return _drawer(width=..., depth=..., outline=points, **fields)


_L = [[0, 0], [400, 0], [400, 200], [180, 200], [180, 380], [0, 380]]
_MANY = [[x * 10, 0] for x in range(257)]

_BAD = [
    # the job
    (_with(spec="2"), "/spec", '"1"'),
    (_with(spec=1), "/spec", '"1"'),
    (_with(name=...), "/name", "required"),
    (_with(name=""), "/name", "at least 1 character"),
    (_with(name="  "), "/name", "at least one visible character"),
    (_with(name="a" * 81), "/name", "at most 80 characters"),
    (_with(name="a\nb"), "/name", "printable characters"),
    (_with(name="a\u202eb"), "/name", "printable characters"),
    (_with(name=5), "/name", "a JSON string"),
    (_with(nmae="x"), "/nmae", "known fields"),
    (_with(**{"a/b~c": 1}), "/a~1b~0c", "known fields"),
    (_with(coupon="yes"), "/coupon", "true or false"),
    (_with(drawers=[]), "/drawers", "at least 1 item"),
    (_with(drawers={}), "/drawers", "a JSON array"),
    (_with(printer=...), "/printer", "required"),
    (
        _with(drawers=[{"name": f"d{n}", "width": 300, "depth": 300, "height": 50} for n in range(101)]),
        "/drawers",
        "at most 100 items",
    ),
    (
        _with(drawers__1={"name": "top", "width": 300, "depth": 300, "height": 50}),
        "/drawers/1/name",
        "unique in the job",
    ),
    # the drawer
    (_drawer(width=...), f"{_TOP}/width", "required"),
    (_drawer(depth=None), f"{_TOP}/depth", "required"),
    (_drawer(height=...), f"{_TOP}/height", "required"),
    (_drawer(width=19), f"{_TOP}/width", "20 to 3000 mm"),
    (_drawer(width="4 m"), f"{_TOP}/width", "20 to 3000 mm"),
    (_drawer(width="310 nm"), f"{_TOP}/width", "20 to 3000 mm"),
    (_drawer(width=True), f"{_TOP}/width", "20 to 3000 mm"),
    (_drawer(width=float("nan")), f"{_TOP}/width", "a finite number"),
    (_drawer(depth=float("inf")), f"{_TOP}/depth", "a finite number"),
    (_drawer(width=-310), f"{_TOP}/width", "20 to 3000 mm"),
    (_drawer(width=[310, "x"]), f"{_TOP}/width/1", "20 to 3000 mm"),
    (_drawer(width=[]), f"{_TOP}/width", "at least 1 item"),
    (_drawer(width=[310] * 21), f"{_TOP}/width", "at most 20 items"),
    (_drawer(corner_radius=156), f"{_TOP}/corner_radius", "at most 155 mm"),
    (_drawer(gap=50.5), f"{_TOP}/gap", "0 to 50 mm"),
    (_drawer(width=100, gap=25), f"{_TOP}/gap", "under 25 mm"),
    (_drawer(align={"x": "front"}), f"{_TOP}/align/x", '"left", "center" or "right"'),
    (_drawer(copies=0), f"{_TOP}/copies", "at least 1"),
    (_drawer(copies=101), f"{_TOP}/copies", "at most 100"),
    (_drawer(copies=1.5), f"{_TOP}/copies", "a whole number"),
    (_drawer(copies="2"), f"{_TOP}/copies", "a JSON number"),
    (_drawer(obstacles=[{"at": [310, 0], "size": [10, 10]}]), f"{_TOP}/obstacles/0/at/0", "0 to 310 mm"),
    (_drawer(obstacles=[{"at": [300, 0], "size": [11, 10]}]), f"{_TOP}/obstacles/0/size/0", "at most 10 mm"),
    (_drawer(obstacles=[{"at": [0, 400], "size": [10, 26]}]), f"{_TOP}/obstacles/0/size/1", "at most 25 mm"),
    (_drawer(obstacles=[{"at": [0], "size": [10, 26]}]), f"{_TOP}/obstacles/0/at/1", "required"),
    (_drawer(obstacles=[{"at": [0, 0], "size": [10, 10]}] * 51), f"{_TOP}/obstacles", "at most 50 items"),
    (_drawer(outline=[[0, 0], [300, 0], [0, 300]], depth=...), f"{_TOP}/width", "no width beside an outline"),
    (_outline([[0, 0], [300, 0]]), f"{_TOP}/outline", "at least 3 items"),
    (_outline(_MANY), f"{_TOP}/outline", "at most 256 items"),
    (_outline([[0, 0], [300, 300], [300, 0], [0, 300]]), f"{_TOP}/outline", "a simple polygon"),
    (_outline([[0, 0], [300, 0], [300, 300], [150, 0]]), f"{_TOP}/outline", "a simple polygon"),
    (
        _outline([[0, 0], [300, 0], [300, 300], [0, 300], [0, 0]]),
        f"{_TOP}/outline/0",
        "distinct from the previous point",
    ),
    (_outline([[0, 0], [300, 0], [600, 0]]), f"{_TOP}/outline", "at least 1 mm"),
    (_outline([[0, 0], [300, 0], [300, 10], [0, 10]]), f"{_TOP}/outline", "at least 20 mm"),
    (_outline([[0, 0], [3001, 0], [0, 300]]), f"{_TOP}/outline/1/0", "0 to 3000 mm"),
    (_outline(_L, obstacles=[{"at": [399, 0], "size": [2, 10]}]), f"{_TOP}/obstacles/0/size/0", "at most 1 mm"),
    # the tray
    (_tray(name=None), f"{_FIRST}/name", "a JSON string"),
    (_tray(cells=[1]), f"{_FIRST}/cells/1", "required"),
    (_tray(cells=[1, 0]), f"{_FIRST}/cells/1", "at least 0.5"),
    (_tray(cells=[41, 1]), f"{_FIRST}/cells/0", "at most 40"),
    (_tray(cells=[1.25, 1]), f"{_FIRST}/cells/0", "a multiple of 0.5"),
    (_tray(cells=["1", 1]), f"{_FIRST}/cells/0", "a JSON number"),
    (_tray(cells=[1, 1.5]), f"{_FIRST}/cells/1", "whole cells"),
    (_tray(at=[0.5, 0]), f"{_FIRST}/at/0", "whole cells"),
    (_tray(at=[0, -1]), f"{_FIRST}/at/1", "at least 0"),
    (_tray(quantity=201), f"{_FIRST}/quantity", "at most 200"),
    (_tray(at=[0, 0], quantity=2), f"{_FIRST}/quantity", "1 with `at`"),
    (_tray(rim="round"), f"{_FIRST}/rim", '"stacking" or "straight"'),
    (_tray(wall=0.8), f"{_FIRST}/wall", "at least 0.88 mm (two lines)"),
    (_tray(floor=0.3), f"{_FIRST}/floor", "at least 0.4 mm (two layers)"),
    (_tray(dividers=[{"axis": "z", "at": 1}]), f"{_FIRST}/dividers/0/axis", '"x" or "y"'),
    (_tray(dividers=[{"axis": "x", "at": 1}] * 41), f"{_FIRST}/dividers", "at most 40 items"),
    (
        _tray(dividers=[{"axis": "x", "at": 20}, {"axis": "x", "at": 19}]),
        f"{_FIRST}/dividers/0/at",
        "over 20.2 mm beside the divider at 19 mm",
    ),
    (
        _tray(dividers=[{"axis": "y", "at": 20}], compartments=[1, 2]),
        f"{_FIRST}/compartments/1",
        "1 with dividers on axis y",
    ),
    (_tray(compartments=[0, 1]), f"{_FIRST}/compartments/0", "at least 1"),
    (_tray(finger_ramp="yes"), f"{_FIRST}/finger_ramp", "true, false or a JSON object"),
    (_tray(finger_ramp={"radius": 1}), f"{_FIRST}/finger_ramp/radius", "2 to 200 mm"),
    (_tray(label_ledge={"depth": 10, "drop": 11}), f"{_FIRST}/label_ledge/drop", "at most 10 mm, its depth"),
    (_tray(magnets={"diameter": 8}), f"{_FIRST}/magnets/depth", "required"),
    (_tray(text={"text": "x" * 41}), f"{_FIRST}/text/text", "at most 40 characters"),
    (_tray(text={"text": "x\t"}), f"{_FIRST}/text/text", "printable characters"),
    (_tray(text={"text": "x", "face": "ledge"}), f"{_FIRST}/text/face", "ledge only with a label_ledge"),
    (_tray(pockets=[{"shape": "star"}]), f"{_FIRST}/pockets/0/shape", "circle, rectangle or polygon"),
    (_tray(pockets=[{"depth": 5}]), f"{_FIRST}/pockets/0/shape", "circle, rectangle or polygon"),
    (
        _tray(pockets=[{"shape": "circle", "at": [1, 1], "diameter": 0, "depth": 5}]),
        f"{_FIRST}/pockets/0/diameter",
        "1 to 3000 mm",
    ),
    (
        _tray(pockets=[{"shape": "circle", "at": [1, 1], "diameter": 5, "depth": 5, "circle": {}}]),
        f"{_FIRST}/pockets/0/circle",
        "known fields",
    ),
    (
        _tray(pockets=[{"shape": "polygon", "points": [[0, 0], [9, 9], [9, 0], [0, 9]], "depth": 5}]),
        f"{_FIRST}/pockets/0/points",
        "a simple polygon",
    ),
    (_drawer(trays=[_TRAY] * 501), f"{_TOP}/trays", "at most 500 items"),
    (_drawer(trays=[{**_TRAY, "quantity": 200}] * 11), f"{_TOP}/trays", "at most 2000 trays"),
    # the grid
    (_with(grid={"pitch": 23}), "/grid/pitch", "24 to 120 mm"),
    (_with(grid={"clearance": 0}), "/grid/clearance", "0.05 to 1 mm"),
    (_with(grid={"seam": "glue"}), "/grid/seam", '"dovetail", "key" or "plain"'),
    (_with(grid={"half_cells": 1}), "/grid/half_cells", "true or false"),
    (_with(grid={"joint": [[2, 0], [0, 1]]}), "/grid/joint/1", "at most 1 mm over this rise"),
    (_with(grid={"joint": [[2, 0]]}), "/grid/joint", "2 to 32 points"),
    (_with(grid={"joint": [[2, 0, 0], [2, 3]]}), "/grid/joint/0", "at most 2 items"),
    (
        _with(grid={"joint": [[18, 0], [18, 3]], "pitch": 42}),
        "/grid/joint/0/0",
        "a foot at least 5 mm wide at its bottom",
    ),
    (
        _with(grid={"joint": [[8, 0], [8, 3]], "half_cells": True}),
        "/grid/joint/0/0",
        "a foot at least 5 mm wide at its bottom",
    ),
    (
        _with(grid={"pitch": 29, "half_cells": True, "clearance": 1}, printer__line_width=1.0),
        "/grid/pitch",
        "a foot at least 5 mm wide at its bottom",
    ),
    (_with(grid={"pitch": 28.9, "half_cells": True}), "/grid/pitch", "at least 29 mm with half cells"),
    # the printer
    (_with(printer__bed=[256, 256]), "/printer/bed/2", "required"),
    (_with(printer__bed=[256, 256, 49]), "/printer/bed/2", "50 to 2000 mm"),
    (_with(printer__margin=65), "/printer/margin", "at most 64 mm"),
    (_with(printer__nozzle="0.1 in"), "/printer/nozzle", "0.1 to 2 mm"),
    (_with(printer__line_width=0.3), "/printer/line_width", "0.32 to 1 mm"),
    (_with(printer__line_width=1.1), "/printer/line_width", "0.32 to 1 mm"),
    (_with(printer__layer=0.33), "/printer/layer", "at most 0.32 mm"),
    (_with(printer__forbidden=[{"at": [250, 0], "size": [7, 5]}]), "/printer/forbidden/0/size/0", "at most 6 mm"),
    (_with(printer__forbidden=[{"at": [0, 300], "size": [7, 5]}]), "/printer/forbidden/0/at/1", "at most 256 mm"),
    # the material
    (
        _with(material={"name": "unobtainium"}),
        "/material/density",
        "required unless the name is PLA, PETG, ABS, ASA, TPU",
    ),
    (_with(material={"density": 0}), "/material/density", "at least 0.5"),
    (_with(material={"density": "1.24"}), "/material/density", "a JSON number"),
    (_with(material={"cost_per_kg": -1}), "/material/cost_per_kg", "at least 0"),
]


@pytest.mark.parametrize(("change", "pointer", "limit"), _BAD, ids=[f"{n}{case[1]}" for n, case in enumerate(_BAD)])
def test_a_bad_spec_is_refused_at_its_field_with_its_limit(minimal, change, pointer, limit):
    with pytest.raises(SpecError) as caught:
        load(_changed(minimal, change))
    (problem,) = caught.value.errors
    assert (problem.pointer, problem.limit) == (pointer, limit)
    assert caught.value.fields() == problem.fields()


def test_every_problem_is_told_at_once(minimal):
    minimal["drawers"][0] |= {"width": "wide", "gap": -1, "trays": [{**_TRAY, "height": 0}], "hight": 70}
    minimal["printer"]["nozzle"] = 9
    with pytest.raises(SpecError, match="5 problems") as caught:
        load(minimal)
    errors = {error.pointer: type(error) for error in caught.value.errors}
    assert errors == {
        "/drawers/0/width": LengthError,
        "/drawers/0/gap": LengthError,
        "/drawers/0/trays/0/height": LengthError,
        "/drawers/0/hight": SpecError,
        "/printer/nozzle": LengthError,
    }
    (unknown,) = (error for error in caught.value.errors if error.pointer.endswith("hight"))
    assert unknown.remedy == 'Did you mean "height"?'


def test_rules_of_several_fields_are_told_together_in_their_own_classes(minimal):
    minimal["grid"] = {"joint": [[2, 0], [0, 1]]}
    minimal["drawers"][0]["trays"] = [{**_TRAY, "cells": [1.5, 0.5], "wall": 0.5}]
    with pytest.raises(SpecError) as caught:
        load(minimal)
    errors = [(type(error), error.pointer) for error in caught.value.errors]
    assert errors == [
        (JointError, "/grid/joint/1"),
        (TrayError, f"{_FIRST}/wall"),
        (TrayError, f"{_FIRST}/cells/0"),
        (TrayError, f"{_FIRST}/cells/1"),
    ]


def test_the_minimal_spec_gets_the_contracts_defaults(minimal):
    spec = load(minimal)
    drawer = spec.drawers[0]
    assert (drawer.readings_across, drawer.readings_deep) == ((310.0,), (425.0,))
    assert (drawer.gap, drawer.copies, drawer.corner_radius, drawer.align.x) == (0.5, 1, 0.0, "center")
    assert (spec.grid.pitch, spec.grid.clearance, spec.grid.seam, spec.grid.seam_gap) == (42.0, 0.3, "dovetail", 0.2)
    assert (spec.printer.nozzle, spec.printer.line_width, spec.printer.layer) == (0.4, 0.44, 0.2)
    assert (spec.material.name, spec.material.density, spec.coupon) == ("PLA", 1.24, True)
    assert spec.joint().profile == spec.grid.to_joint(0.44).profile


def test_a_full_spec_is_read_in_millimetres(full):
    spec = load(full)
    top, corner = spec.drawers
    assert top.readings_across == (310.0, 311.5, 312.0)
    assert top.readings_deep == (425.45,)
    assert top.height == 69.85
    assert top.obstacles[0].size == (30.0, 12.0)
    assert corner.box == (0.0, 0.0, 400.0, 380.0)
    assert (corner.readings_across, corner.readings_deep) == ((), ())
    chisels, bits = top.trays
    assert chisels.finger_ramp is not None
    assert chisels.finger_ramp.radius is None
    assert chisels.on_halves
    assert not bits.on_halves
    assert [pocket.shape for pocket in bits.pockets] == ["circle", "rectangle", "polygon"]
    assert [(drawer, tray) for drawer, tray, _ in spec.trays()] == [(0, 0), (0, 1)]
    assert spec.joint().profile == ((1.8, 0.0), (1.8, 1.0), (1.2, 1.6), (1.2, 3.0))


def test_what_was_read_reads_the_same_again(minimal, full):
    for document in (minimal, full):
        spec = load(document)
        assert load(spec.model_dump(mode="json")) == spec
        assert loads(spec.model_dump_json().encode()) == spec
        assert loads(spec.to_json().encode()) == spec
        assert len(spec.to_json()) < len(spec.model_dump_json())
        assert loads(json.dumps(document).encode()) == spec


@pytest.mark.parametrize("given", [True, {}, False, None])
def test_ramp_and_ledge_are_switched_or_described(minimal, given):
    minimal["drawers"][0]["trays"] = [{**_TRAY, "finger_ramp": given, "label_ledge": given}]
    tray = load(minimal).drawers[0].trays[0]
    expected = given is True or given == {}
    assert (tray.finger_ramp == FingerRamp(), tray.label_ledge is not None) == (expected, expected)
    # of a ramp, null leaves the choice to the service
    assert (tray.finger_ramp == NO_RAMP, tray.finger_ramp is None) == (given is False, given is None)


@pytest.mark.parametrize("density", DENSITIES.values())
def test_filaments_are_a_little_denser_than_water(density):
    # data sheets of common filaments without fillers, from memory
    assert 1.0 < density < 1.3


@pytest.mark.parametrize("name", [*DENSITIES, "pla", "Petg"])
def test_a_known_material_has_its_density(minimal, name):
    minimal["material"] = {"name": name}
    assert load(minimal).material.density == DENSITIES[name.upper()]


def test_any_winding_of_an_outline_will_do(minimal):
    for points in (_L, _L[::-1]):
        document = _changed(json.loads(json.dumps(minimal)), _outline(points))
        assert load(document).drawers[0].outline == tuple((float(x), float(y)) for x, y in points)


def test_a_spec_cannot_be_changed(minimal):
    spec = load(minimal)
    with pytest.raises(ValueError, match="frozen"):
        spec.name = "other"


def test_every_field_is_described():
    schema = Spec.model_json_schema()
    for noun in (schema, *schema["$defs"].values()):
        assert noun["additionalProperties"] is False
        for name, field in noun["properties"].items():
            assert "description" in field or name == "shape", (noun["title"], name)


def test_the_schema_takes_what_the_models_take(minimal, full):
    schema = jsonschema.Draft202012Validator(Spec.model_json_schema())
    schema.check_schema(schema.schema)
    for document in (minimal, full, load(full).model_dump(mode="json")):
        schema.validate(document)
    full["drawers"][0]["trays"][0]["finger_rampp"] = True
    assert not schema.is_valid(full)


def test_the_refusal_says_it_like_any_error(minimal):
    minimal["drawers"][0]["width"] = "4 m"
    with pytest.raises(SpecError) as caught:
        load(minimal)
    problem = caught.value.problem()
    assert problem["type"] == "/problems/invalid-spec"
    assert problem["pointer"] == "/drawers/0/width"
    assert problem["value"] == "4 m"
    assert (problem["limit"], problem["remedy"]) == ("20 to 3000 mm", "Check the number and its unit.")

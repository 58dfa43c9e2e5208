"""Items where they stand in a spec."""

import pytest

from worker.spec import load
from worker.spec.errors import LengthError, SpecError
from worker.spec.manifest import DrawerEntry, Generator, Manifest

_BOX = {"kind": "box", "size": [40, 20, 10]}
_MANIFEST = Manifest(
    generator=Generator(version="1", kernel="k 1"),
    name="bench left",
    spec_digest="0" * 64,
    drawers=(
        DrawerEntry(
            name="top", copies=1, size=(310.0, 425.0, 70.0), outline=(), origin=(0.0, 0.0), pitch=42.0,
            cells={"whole": 1, "half": 0, "across": (1, 1)}, leftover=(0.0, 0.0), free=4, placements=(),
        ),
    ),
    parts=(), assembly=(), warnings=(), cautions=(),
).model_dump(mode="json")  # fmt: skip


def _thing(name="things", **fields):
    return {"name": name, "shape": _BOX, **fields}


def _refused(document):
    with pytest.raises(SpecError) as caught:
        load(document)
    return [(error.pointer, type(error)) for error in caught.value.errors]


def test_a_job_and_a_drawer_list_items(minimal):
    minimal["items"] = [_thing("a"), _thing("b", near="a")]
    minimal["drawers"][0] |= {"items": [_thing("a")], "fill": True}
    spec = load(minimal)
    assert [item.name for item in spec.items] == ["a", "b"]
    assert [item.name for item in spec.drawers[0].items] == ["a"]
    assert spec.drawers[0].fill
    assert not spec.strict


@pytest.mark.parametrize("place", ["/items", "/drawers/0/items"])
@pytest.mark.parametrize(
    ("items", "where", "kind"),
    [
        ([_thing("a"), _thing("a")], "/1/name", SpecError),
        ([_thing("a", near="b")], "/0/near", SpecError),
        ([_thing(shape={"kind": "box", "size": [1, 2, -3]})], "/0/shape/size/2", LengthError),
        ([_thing(shape={"kind": "box", "size": [1, 2]})], "/0/shape/size/2", SpecError),
        ([_thing(shape={"kind": "box"})], "/0/shape/size", SpecError),
        ([_thing(shape={"kind": "ball"})], "/0/shape/kind", SpecError),
        ([_thing(shape={})], "/0/shape/kind", SpecError),
        ([_thing(shape={"kind": "standard", "id": "battery-a"})], "/0/shape/id", SpecError),
        ([_thing(shape={"kind": "standard", "id": "bolt-hex-m5"})], "/0/shape/length", SpecError),
        ([_thing(shape={"kind": "cylinder", "diameter": 3, "length": 4, "width": 5})], "/0/shape/width", SpecError),
        ([_thing(at=[0.5, 0])], "/0/at/0", SpecError),
        ([_thing(fixed=True)], "/0/fixed", SpecError),
    ],
)
def test_a_bad_item_is_refused_at_its_field(minimal, place, items, where, kind):
    if place == "/items":
        minimal["items"] = items
    else:
        minimal["drawers"][0]["items"] = items
    assert _refused(minimal) == [(place + where, kind)]


def test_an_unknown_kind_or_id_is_told_what_there_is(minimal):
    minimal["items"] = [_thing("a", shape={"kind": "ball"}), _thing("b", shape={"kind": "standard", "id": "nut-m"})]
    with pytest.raises(SpecError) as caught:
        load(minimal)
    kind, identity = caught.value.errors
    assert kind.limit == "box, cylinder, polygon or standard"
    assert kind.value == "ball"
    assert "nut-m" in identity.remedy


def test_an_item_of_a_job_of_several_drawers_has_no_place(minimal):
    minimal["drawers"].append(minimal["drawers"][0] | {"name": "below"})
    minimal["items"] = [_thing(at=[0, 0])]
    assert _refused(minimal) == [("/items/0/at", SpecError)]
    minimal["items"] = []
    minimal["drawers"][1]["items"] = [_thing(at=[0, 0])]
    assert load(minimal).drawers[1].items[0].at == (0.0, 0.0)


def test_a_previous_manifest_is_read_and_lets_items_stay(minimal):
    minimal |= {"previous": _MANIFEST, "items": [_thing(fixed=True)]}
    spec = load(minimal)
    assert spec.previous is not None
    assert spec.previous.drawers[0].name == "top"
    assert load(spec.model_dump(mode="json")) == spec


def test_a_bad_previous_manifest_is_refused_at_its_field(minimal):
    drawer = _MANIFEST["drawers"][0] | {"copies": 0}
    minimal["previous"] = _MANIFEST | {"drawers": [drawer]}
    assert _refused(minimal) == [("/previous/drawers/0/copies", SpecError)]


def test_a_previous_manifest_may_list_many_parts(minimal):
    place = {"mark": "T1", "at": [0, 0, 0], "turn": 0, "cell": [0, 0]}
    minimal["previous"] = _MANIFEST | {"drawers": [_MANIFEST["drawers"][0] | {"placements": [place] * 2000}]}
    assert len(load(minimal).previous.drawers[0].placements) == 2000
    minimal["previous"]["drawers"][0]["placements"] = [place] * 5001
    assert _refused(minimal) == [("/previous/drawers/0/placements", SpecError)]

"""The register of parts."""

from worker.layout.model.part_registry import Register, box_of
from worker.layout.model.plan import PlanWarning
from worker.layout.model.shapes import KeyShape, Lettering, TileShape

SQUARE = ((0.0, 0.0), (20.0, 0.0), (20.0, 10.0), (0.0, 10.0))


def tile(height: float) -> TileShape:
    return TileShape(SQUARE, (), (), ((1.1, 0.0), (1.1, height)), 5.0, height)


def lettering(_: TileShape, mark: str) -> Lettering:
    return Lettering(mark, "top", (10.0, 5.0), 3.0)


def test_a_known_shape_keeps_its_mark_and_name_and_is_counted() -> None:
    register = Register()
    marks = [
        register.enter("tile", name, tile(height), (20, 10, height), count=2, room=lettering)
        for name, height in (("first", 3.0), ("second", 4.0), ("third", 3.0))
    ]
    assert marks == ["F1", "F2", "F1"]
    first, second = register.parts()
    assert (first.name, first.quantity, second.quantity) == ("first", 4, 2)
    assert first.shape == TileShape(SQUARE, (), (), ((1.1, 0.0), (1.1, 3.0)), 5.0, 3.0, (lettering(tile(3.0), "F1"),))


def test_a_shape_without_room_stays_as_it_is_and_is_told_of_once() -> None:
    register = Register()
    for _ in range(2):
        register.enter("tile", "tile", tile(3.0), (20, 10, 3), count=1, room=lambda *_: None, pointer="/drawers/0")
    assert register.parts()[0].shape == tile(3.0)
    assert [warning.pointer for warning in register.warnings()] == ["/drawers/0"]
    assert "F1" in register.warnings()[0].message


def test_a_key_has_a_mark_without_a_lettering() -> None:
    register = Register()
    key = KeyShape(SQUARE, 2.8)
    assert register.enter("key", "seam key", key, box_of(SQUARE, 2.8), count=3) == "K1"
    assert register.parts()[0].shape is key
    assert register.parts()[0].size == (20.0, 10.0, 2.8)


def test_the_same_warning_is_kept_once() -> None:
    register = Register()
    register.warn(PlanWarning("/grid", "one"), PlanWarning("/grid", "one"), PlanWarning("/grid", "two"))
    assert [warning.message for warning in register.warnings()] == ["one", "two"]

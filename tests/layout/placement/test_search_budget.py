import pytest

from worker.layout import lay_out
from worker.layout.placement.search_budget import THOROUGH, companies, eased
from worker.spec import load
from worker.spec.items.item import Item


def _items(count):
    sizes = [(8 + number % 50, 6 + number % 37, 5 + number % 21) for number in range(count)]
    return [
        {"name": f"i{n}", "shape": {"kind": "box", "size": size}, "group": f"g{n % 7}"} for n, size in enumerate(sizes)
    ]


def _plan(count):
    drawer = {"name": "d", "width": 700, "depth": 700, "height": 60, "items": _items(count)}
    return lay_out(load({"spec": "1", "name": "x", "drawers": [drawer], "printer": {"bed": [256, 256, 256]}}))


@pytest.mark.parametrize(("kinds", "times"), [(0, 12), (1, 12), (THOROUGH, 12), (2 * THOROUGH, 6), (100 * THOROUGH, 0)])
def test_more_kinds_are_tried_less_often(kinds, times):
    assert eased(12, kinds) == times
    assert eased(12, kinds, 1) == max(times, 1)


def test_kinds_of_one_group_are_in_one_company_as_far_as_can_be():
    firsts = [Item.model_validate(item) for item in _items(100)]
    numbers = list(range(100))
    groups = companies(numbers, firsts)
    assert sorted(number for company in groups for number in company) == numbers
    assert [len(company) for company in groups] == [42, 42, 16]
    assert max(len({firsts[number].group for number in company}) for company in groups) <= 4
    assert companies(numbers[:42], firsts[:42]) == [numbers[:42]]


def test_many_kinds_are_laid_out_with_fewer_trials_and_a_warning():
    plan = _plan(2 * THOROUGH + 5)
    assert [warning.pointer for warning in plan.warnings if "kinds of items" in warning.message] == ["/drawers/0/items"]
    assert len(plan.drawers[0].contents) + len(plan.unplaced) == 2 * THOROUGH + 5
    assert not any("kinds of items" in warning.message for warning in _plan(5).warnings)

"""Drawers stocked with items: trays, piles, sharing out, shortages."""

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.storage.things import ground, standard, thing
from worker.layout.items.allocate_to_drawers import added, shared
from worker.layout.items.drawer_site import Site
from worker.layout.items.fill_drawer import stock
from worker.layout.items.shortage import largest_free, shortage
from worker.layout.placement.placement_problem import Bay

_few = settings(max_examples=15, deadline=None)


def site(across=8, back=10, height=70.0, name="bench", *, half_cells=True, copies=1):
    """Return a drawer of so many half cells."""
    bay = Bay.open(across, back, step=1 if half_cells else 2)
    return Site(name, ground((across, back), height, half_cells=half_cells), bay, copies)


def box(name, size, **fields):
    return thing({"kind": "box", "size": size}, name, **fields)


@st.composite
def lists(draw, most=14):
    kinds = st.sampled_from(["nut-m4", "battery-aa", "battery-9v", "bit-6.3", "hexkey-4", "card-sd", "pen-ball"])
    return [
        standard(
            draw(kinds),
            name=f"kind {index}",
            count=draw(st.integers(1, 12)),
            access=draw(st.sampled_from(["often", "sometimes", "rarely"])),
            group=draw(st.sampled_from([None, "a", "b"])),
            stack=draw(st.sampled_from([None, True])),
        )
        for index in range(draw(st.integers(1, most)))
    ]


def check(stocked, items):
    """Assert that a stock is sound: every item once, nothing over another or out of the drawer, nothing too high."""
    names = sorted([item.name for item in stocked.items] + [item.name for item in stocked.missing])
    assert names == sorted(item.name for item in items)
    taken, site_ = set(), stocked.site
    tops = {}
    for tray in stocked.settled:
        width, depth = tray.option.halves
        under = {(tray.at[0] + i, tray.at[1] + j) for i in range(width) for j in range(depth)}
        assert all(x < site_.bay.across and y < site_.bay.back and site_.bay.free[y][x] for x, y in under)
        assert tray.z + tray.option.top <= site_.limit + 1e-6
        if not tray.z:
            assert not under & taken
            taken |= under
        else:
            below = tops[tray.at]
            assert below.option.rim == "stacking"
            assert below.option.halves == tray.option.halves
            assert tray.z == round(below.z + below.option.height - site_.ground.joint.height, 3)
            assert all(item.stacks for item in (*tray.items, *below.items))
        tops[tray.at] = tray
    assert stocked.left.bits.bit_count() == site_.bay.bits.bit_count() - len(taken)


@_few
@given(lists(), st.sampled_from([(8, 10), (6, 4), (3, 5)]), st.sampled_from([40.0, 70.0, 120.0]), st.booleans())
def test_a_stocked_drawer_is_sound_and_the_same_each_time(items, size, height, half_cells):
    if not half_cells:
        size = size[0] // 2 * 2, size[1] // 2 * 2
    here = site(*size, height, half_cells=half_cells)
    stocked = stock(items, here, share_of_time=0.1)
    check(stocked, items)
    assert stocked == stock(items, here, share_of_time=0.1)


def test_trays_are_piled_only_where_the_floor_is_short():
    items = [box(f"spare {n}", [60, 60, 12], access="rarely", storage="rows") for n in range(3)]
    wide, narrow = stock(items, site(12, 12)), stock(items, site(4, 4, 90.0))
    assert not any(tray.z for tray in wide.settled)
    assert len({tray.at for tray in narrow.settled}) == 1
    assert not narrow.missing
    check(narrow, items)


def test_what_is_wanted_often_stands_on_what_is_not():
    seldom = box("seldom", [60, 60, 12], access="rarely", storage="rows")
    daily = box("daily", [60, 60, 12], access="often", storage="rows", stack=True)
    stocked = stock([daily, seldom], site(4, 4, 90.0))
    assert [tray.items[0].name for tray in stocked.settled] == ["seldom", "daily"]


def test_a_low_drawer_has_no_piles():
    items = [box(f"spare {n}", [60, 60, 12], access="rarely", storage="rows") for n in range(3)]
    stocked = stock(items, site(4, 4, 25.0))
    assert len(stocked.settled) == 1
    check(stocked, items)


def test_pins_are_honoured_and_said_when_they_cannot_be():
    pinned = standard("battery-aa", name="cells", count=4, at=[2, 3])
    stocked = stock([standard("pen-ball", name="pens", count=6), pinned], site())
    assert next(tray.at for tray in stocked.settled if tray.items == (pinned,)) == (4, 6)
    off = pinned.model_copy(update={"at": (3.5, 4.5)})
    full = stock([off], site())
    assert full.missing == (off,)
    lack = shortage(off, [full], [], half_cells=True)
    assert lack.reason.startswith("no room at its place: needs")
    assert "`at`" in lack.remedy


def test_often_wanted_things_come_to_the_front():
    items = [
        standard("battery-aa", name=f"kind {n}", count=8, access="often" if n == 5 else "rarely") for n in range(6)
    ]
    stocked = stock(items, site(8, 14))
    assert next(tray.at[1] for tray in stocked.settled if any(item.access == "often" for item in tray.items)) == 0


def test_near_items_stand_next_to_each_other():
    items = [standard("battery-aa", name=f"kind {n}", count=8, near="kind 0" if n == 5 else None) for n in range(6)]
    stocked = stock(items, site(8, 14))
    where = {tray.items[0].name: tray for tray in stocked.settled}
    first, other = where["kind 0"], where["kind 5"]
    gaps = [
        max(first.at[a] - other.at[a] - other.option.halves[a], other.at[a] - first.at[a] - first.option.halves[a])
        for a in (0, 1)
    ]
    assert max(gaps) <= 0


@_few
@given(lists(20), st.integers(0, 6))
def test_a_job_is_shared_out_soundly(items, cut):
    own, of_job = items[:cut], items[cut:]
    sites = [site(4, 6, 40.0, "low"), site(6, 6, 90.0, "high"), site(4, 4, 60.0, "pair", copies=2)]
    result = shared(of_job, sites, [own, [], []])
    named = [item for stock in result.stocks for item in (*stock.items, *stock.missing)] + [*result.left]
    assert sorted(item.name for item in named) == sorted(item.name for item in items)
    for stocked in result.stocks:
        check(stocked, (*stocked.items, *stocked.missing))
    assert all(item in own for item in result.stocks[0].missing)
    assert not result.stocks[1].missing
    # what is left has no room anywhere as it is
    assert all(added(item, stock) is None for item in result.left for stock in result.stocks)


def test_groups_stay_in_one_drawer_and_tall_things_go_where_they_fit():
    group = [standard("battery-aa", name=f"kind {n}", count=4, group="cells") for n in range(4)]
    tall = box("bottle", [40, 40, 80], storage="upright")
    low, high = site(8, 8, 40.0, "low"), site(8, 8, 120.0, "high")
    result = shared([tall, *group], [low, high], [[], []])
    assert not result.left
    assert tall in result.stocks[1].items
    assert len({index for index, stock in enumerate(result.stocks) for item in stock.items if item.group}) == 1
    copies = shared(group, [site(8, 8, 40.0, copies=3), high], [[], []])
    assert not copies.stocks[0].items


def test_reasons_say_what_is_lacking():
    tall = box("bottle", [50, 50, 90], storage="upright")
    low, lower = stock([], site(height=63.0)), stock([], site(height=40.0, name="lower"))
    lack = shortage(tall, [low, lower], [], half_cells=True)
    assert lack.reason.startswith("too tall: needs ")
    assert lack.reason.endswith("mm, the highest drawer has 63")
    high = stock([], site(height=130.0, name="high"))
    assert "'high'" in shortage(tall, [low], [high], half_cells=True).remedy
    assert "mm inner height would hold it" in shortage(tall, [low], [], half_cells=True).remedy
    long = box("level", [400, 30, 20])
    assert shortage(long, [low], [], half_cells=True).reason.startswith("too large: needs ")


def test_the_cheapest_remedy_is_named():
    bolts = box("blocks", [38, 38, 20], count=12, storage="rows", access="often")
    full = stock([], site(4, 4, 60.0))
    lack = shortage(bolts, [full], [], half_cells=True)
    assert lack.reason == shortage(bolts, [full], [], half_cells=True, brief=True).reason
    count = int(lack.remedy.split()[1])
    fewer = bolts.model_copy(update={"count": count})
    assert added(fewer, full) is not None
    assert added(fewer.model_copy(update={"count": count + 1}), full) is None


def test_half_cells_are_named_where_they_would_help():
    # each takes 1.5 cells of 2, and groups stay apart
    items = [box(f"cards {n}", [50, 12, 10], storage="rows", group=f"group {n}") for n in range(2)]
    full = stock(items, site(2, 6, 20.0, half_cells=False))
    assert len(full.missing) == 1
    assert "half_cells" in shortage(full.missing[0], [full], [], half_cells=False).remedy


def naive(bay):
    """Return the largest free area by trying every rectangle."""
    return max(
        (
            (right - left) * (back - front)
            for left in range(bay.across)
            for right in range(left + 1, bay.across + 1)
            for front in range(bay.back)
            for back in range(front + 1, bay.back + 1)
            if all(bay.free[y][x] for y in range(front, back) for x in range(left, right))
        ),
        default=0,
    )


@settings(max_examples=60, deadline=None)
@given(
    st.integers(1, 5).flatmap(
        lambda n: st.lists(st.lists(st.booleans(), min_size=n, max_size=n), min_size=1, max_size=5)
    )
)
def test_the_largest_free_rectangle_is_found(rows):
    bay = Bay(tuple(map(tuple, rows)))
    (x, y), (width, depth) = largest_free(bay)
    assert width * depth == naive(bay)
    assert all(bay.free[y + j][x + i] for i in range(width) for j in range(depth))

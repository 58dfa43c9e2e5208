"""The workbench: trays are moved, swapped, turned, pinned, sized, added and removed; every change can be undone."""

import json

import pytest
from playwright.sync_api import expect

from tests.api.kiosk.test_accessibility import _faults, _narrow

pytestmark = pytest.mark.service

_OWN = "[data-tray]"


@pytest.fixture
def bench(visit):
    """Return a function that opens the page with the example drawer planned, at the step of the things."""

    def go(**options):
        page = visit(**options)
        page.tap("#example" if options.get("width", 1280) > 700 else "#example-first")
        page.wait_for_selector("#sum-time", state="attached")
        if page.locator("#sheet").is_visible():  # on a phone the plan is a sheet that is pulled up
            page.tap("#sheet")
        page.tap("#go-things")
        page.wait_for_selector("#rows")
        return page

    return go


def _draft(page):
    """Return the draft that the browser keeps."""
    text = page.evaluate(
        """() => new Promise((resolve, reject) => {
            const opening = indexedDB.open("drawerwright");
            opening.onerror = reject;
            opening.onsuccess = () => {
                const reading = opening.result.transaction("kept").objectStore("kept").get("draft");
                reading.onsuccess = () => { opening.result.close(); resolve(reading.result); };
            };
        })"""
    )
    return json.loads(text)


def _trays(page):
    """Return the shown trays: text to place and size in cells."""
    return page.evaluate(
        """() => Object.fromEntries([...document.querySelectorAll("[data-tray]")].map((node) => {
            const label = node.getAttribute("aria-label");
            const at = /Column ([\\d.]+), row ([\\d.]+), ([\\d.]+) by ([\\d.]+) cells/.exec(label).slice(1).map(Number);
            return [label.replace(/, Column.*/, "").replace(/^[A-Z]\\d+ /, ""), at];
        }))"""
    )


def _settled(page):
    # a change is drawn with the next frame: only then is the plan on show known to be out of date
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    page.wait_for_selector("#sums:not(.stale)", state="attached")
    page.wait_for_selector("#plan[aria-busy=false]")


def _middle(page, text):
    box = page.locator(f"{_OWN}[aria-label*='{text}'] > rect").first.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, box


def _cell(page):
    """Return the side of a cell in CSS px, from the first tray and its label."""
    text, (_, _, width, _) = next(iter(_trays(page).items()))
    return _middle(page, text.split(",")[0])[2]["width"] / (width - 0.012)


def _drag(page, text, dx, dy):
    x, y, _ = _middle(page, text)
    side = _cell(page)
    page.mouse.move(x, y)
    page.mouse.down()
    for share in (0.2, 0.5, 0.8, 1.0):
        page.mouse.move(x + share * dx * side, y - share * dy * side)


def _move_scissors(page):
    trays = _trays(page)
    _drag(page, "scissors", *_free_step(trays, next(key for key in trays if "scissors" in key)))


def _free_step(trays, name, size=(0, 0)):
    """Return a step by which a tray can be moved to free cells, at least of a size, by trying the places about it."""
    across, deep = 9, 9
    x, y, w, d = trays[name]
    w, d = max(w, size[0]), max(d, size[1])
    for dx, dy in [(dx, dy) for dx in range(-7, 8) for dy in range(-8, 9) if (dx, dy) != (0, 0)]:
        left, front = x + dx, y + dy
        inside = left >= 1 and front >= 1 and left + w - 1 <= across and front + d - 1 <= deep
        clear = all(
            left >= ox + ow or ox >= left + w or front >= oy + od or oy >= front + d
            for other, (ox, oy, ow, od) in trays.items()
            if other != name
        )
        if inside and clear:
            return dx, dy
    pytest.fail("no tray of the example can be moved")


def test_the_figures_are_shown_with_what_a_change_did_to_them(bench):
    page = bench()
    before = {key: page.locator(f"#sum-{key}").inner_text() for key in ("runs", "time", "filament")}
    assert "h" in before["time"]
    assert before["filament"].endswith("g")
    page.tap("#more-7")
    _settled(page)
    expect(page.locator("#sum-filament .change")).to_contain_text("+")
    page.tap("#undo")
    _settled(page)
    expect(page.locator("#sum-filament .change")).to_contain_text("\u2212")


def test_a_row_and_its_tray_show_each_other(bench):
    page = bench()
    page.hover("#row-0")
    lit = page.locator(f"{_OWN}.lit")
    expect(lit).to_have_count(1)
    assert "scissors" in lit.get_attribute("aria-label")
    page.hover("#h-plan")
    x, y, _ = _middle(page, "hole punch")
    page.mouse.click(x, y)
    expect(page.locator("#row-7.lit")).to_have_count(1)
    expect(page.locator("#tray-title")).to_contain_text("hole punch")


def test_a_tray_is_dragged_with_the_mouse_and_the_others_stay(bench):
    page = bench()
    before = _trays(page)
    name = next(key for key in before if "scissors" in key)
    dx, dy = _free_step(before, name)
    _drag(page, "scissors", dx, dy)
    expect(page.locator(".ghost.free")).to_have_count(1)
    expect(page.locator("#verdict")).to_have_text("fits here")
    page.mouse.up()
    after = _trays(page)
    x, y, w, d = before[name]
    assert after[name] == [x + dx, y + dy, w, d]  # shown at once
    _settled(page)
    assert _trays(page) == {**before, name: [x + dx, y + dy, w, d]}
    assert page.locator(f"{_OWN}.pinned").count() == 1
    page.keyboard.press("Control+z")
    _settled(page)
    assert _trays(page) == before
    page.keyboard.press("Control+Shift+z")
    _settled(page)
    assert _trays(page)[name] == [x + dx, y + dy, w, d]


def test_a_drag_out_of_the_floor_is_refused_and_escape_puts_back(bench):
    page = bench()
    before = _trays(page)
    x, y, _ = _middle(page, "scissors")
    page.mouse.click(x, y)
    page.keyboard.press("Enter")
    for _ in range(12):
        page.keyboard.press("ArrowLeft")
    page.keyboard.press("Escape")
    expect(page.locator(".ghost")).to_have_count(0)
    assert _trays(page) == before
    assert _draft(page)["drawers"][0]["trays"] == []


def test_a_tray_is_moved_by_touch(bench):
    page = bench(width=820, height=1180)
    before = _trays(page)
    name = next(key for key in before if "scissors" in key)
    dx, dy = _free_step(before, name)
    page.locator(f"{_OWN}[aria-label*='scissors']").scroll_into_view_if_needed()
    x, y, _ = _middle(page, "scissors")
    side = _cell(page)
    scrolled = page.evaluate("scrollY")
    touch = page.context.new_cdp_session(page)
    touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for share in (0.3, 0.7, 1.0):
        point = {"x": x + share * dx * side, "y": y - share * dy * side}
        touch.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [point]})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    _settled(page)
    assert _trays(page)[name][:2] == [before[name][0] + dx, before[name][1] + dy]
    assert page.evaluate("scrollY") == scrolled


def test_trays_are_moved_turned_sized_pinned_and_removed_with_the_keyboard_alone(bench):
    page = bench()
    before = _trays(page)
    name = next(key for key in before if "scissors" in key)
    dx, dy = _free_step(before, name)
    x, y, _ = _middle(page, "scissors")
    page.focus(f"{_OWN}[tabindex='0']")
    for _ in range(20):  # arrow keys go from tray to tray
        label = page.evaluate("document.activeElement.getAttribute('aria-label')")
        if "scissors" in label:
            break
        here = page.evaluate("(() => { const r = document.activeElement.querySelector('rect').getBoundingClientRect();"
                             "return [r.x + r.width / 2, r.y + r.height / 2]; })()")  # fmt: skip
        across = abs(here[0] - x) > abs(here[1] - y)
        if across:
            page.keyboard.press("ArrowRight" if here[0] < x else "ArrowLeft")
        else:
            page.keyboard.press("ArrowUp" if here[1] > y else "ArrowDown")
        page.wait_for_timeout(60)
    assert "scissors" in page.evaluate("document.activeElement.getAttribute('aria-label')")
    page.keyboard.press("Enter")
    for key, count in (("ArrowRight", dx), ("ArrowLeft", -dx), ("ArrowUp", dy), ("ArrowDown", -dy)):
        for _ in range(max(0, count)):
            page.keyboard.press(key)
    page.wait_for_selector("#spoken:has-text('fits here')", state="attached")
    page.keyboard.press("Enter")
    _settled(page)
    assert _trays(page)[name][:2] == [before[name][0] + dx, before[name][1] + dy]
    page.wait_for_timeout(100)
    assert "scissors" in page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert _draft(page)["drawers"][0]["trays"][0].keys() >= {"pinned", "tray", "hold"}
    page.keyboard.press("p")
    _settled(page)
    assert page.locator(f"{_OWN}.pinned").count() == 0
    page.keyboard.press("Delete")
    _settled(page)
    assert page.evaluate("document.activeElement.hasAttribute('data-tray')")
    held = [held["thing"] for tray in _draft(page)["drawers"][0]["trays"] for held in tray["hold"]]
    assert "t1" not in held
    assert any("scissors" in text for text in _trays(page))  # the service gives them another place


def test_a_tray_is_turned_and_sized_and_gets_options(bench):
    page = bench()
    page.tap("#add-tray")
    _settled(page)
    expect(page.locator("#tray-title")).to_contain_text("Tray")
    name = next(key for key in _trays(page) if key.startswith("Tray "))
    _drag(page, name, *_free_step(_trays(page), name, size=(2, 2)))
    page.mouse.up()
    _settled(page)
    page.tap("#deeper")
    _settled(page)
    x, y, w, d = _trays(page)[name]
    assert d == 2
    page.tap("#tray-turn")
    _settled(page)
    assert _trays(page)[name] == [x, y, d, w]
    page.locator(".tray-panel summary").tap()
    page.fill("#tray-height", "30")
    page.keyboard.press("Tab")
    page.check("#tray-ledge")
    _settled(page)
    entry = next(tray for tray in _draft(page)["drawers"][0]["trays"] if tray["tray"]["name"] == name)
    assert entry["tray"]["height"] == 30
    assert entry["tray"]["label_ledge"] is True
    page.tap("#tray-remove")
    _settled(page)
    assert name not in _trays(page)


def test_a_tray_is_added_by_sweeping_over_free_cells(bench):
    page = bench()
    box = page.locator(".bench").bounding_box()
    before = _trays(page)
    side = _cell(page)
    taken = [(x, y, w, d) for x, y, w, d in before.values()]
    free = next(
        (column, row)
        for row in range(1, 9)
        for column in range(1, 8)
        if not any(x < column + 2 and column < x + w and y < row + 1 and row < y + d for x, y, w, d in taken)
    )
    rect = _middle(page, next(iter(before)).split(",")[0])[2]
    x, y, _, _ = next(iter(before.values()))
    left = rect["x"] + (free[0] - x) * side
    front = rect["y"] + rect["height"] + (y - free[1]) * side
    assert box["x"] < left < box["x"] + box["width"]
    page.mouse.move(left + 0.3 * side, front - 0.5 * side)
    page.mouse.down()
    page.mouse.move(left + 1.0 * side, front - 0.5 * side)
    page.mouse.move(left + 1.7 * side, front - 0.6 * side)
    page.mouse.up()
    _settled(page)
    added = {key: place for key, place in _trays(page).items() if key.startswith("Tray ")}
    assert list(added.values()) == [[*free, 2, 1]]


def test_laying_out_again_keeps_what_is_pinned(bench):
    page = bench()
    before = _trays(page)
    name = next(key for key in before if "scissors" in key)
    dx, dy = _free_step(before, name)
    _drag(page, "scissors", dx, dy)
    page.mouse.up()
    _settled(page)
    page.tap("#lay-out")
    _settled(page)
    now = next(place for key, place in _trays(page).items() if "scissors" in key)
    assert now == [before[name][0] + dx, before[name][1] + dy, *before[name][2:]]
    assert len(_draft(page)["drawers"][0]["trays"]) == 1
    expect(page.locator("#lay-out")).to_be_disabled()


def test_a_changed_drawer_can_be_built(bench):
    page = bench()
    _move_scissors(page)
    page.mouse.up()
    _settled(page)
    shown = _trays(page)
    page.tap("#go-printer")
    page.uncheck("#coupon")
    page.tap("#go-make")
    _settled(page)
    page.tap("#submit")
    page.wait_for_selector("#tab-map", timeout=240_000)
    page.tap("#tab-map")
    assert page.locator(".legend tbody tr").count() == len(shown)
    least = page.evaluate(
        """() => Math.min(...[...document.querySelectorAll(".drawing text")].map(
            (node) => node.getAttribute("font-size") * node.ownerSVGElement.getBoundingClientRect().width
                / node.ownerSVGElement.viewBox.baseVal.width))"""
    )
    assert least >= 10.99


@pytest.mark.parametrize("width", [390, 1080, 1440])
def test_text_on_the_plan_is_at_least_11_px(bench, width):
    page = bench(width=width, height=900)
    sizes = page.evaluate(
        """() => [...document.querySelectorAll(".bench text")].map((node) => node.getAttribute("font-size")
            * node.ownerSVGElement.getBoundingClientRect().width / node.ownerSVGElement.viewBox.baseVal.width)"""
    )
    assert len(sizes) >= 4
    assert min(sizes) >= 10.99


@pytest.mark.parametrize(
    ("width", "scheme"), [(390, "light"), (390, "dark"), (1080, "light"), (1440, "light"), (1440, "dark")]
)
def test_the_workbench_has_no_axe_violations_and_fits_the_screen(bench, width, scheme, tmp_path):
    page = bench(width=width, height=900, color_scheme=scheme)
    x, y, _ = _middle(page, "scissors")
    page.mouse.click(x, y)
    page.wait_for_selector("#tray-title")
    assert _faults(page) == []
    assert _narrow(page)
    page.screenshot(path=tmp_path / f"bench-{width}-{scheme}.png")
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowRight")
    assert _faults(page) == []
    page.keyboard.press("Escape")
    page.hover("#tray-pin")
    page.tap("#tray-pin")
    page.wait_for_timeout(200)
    assert _faults(page) == []  # pressed, under the pointer


def test_a_list_is_pasted_with_a_preview_in_few_actions(bench):
    page = bench()
    page.locator("#paste summary").tap()
    page.fill("#paste-text", "name\tlength\twidth\theight\tcount\nstapler\t120\t35\t40\t1\nruler\t200\t30\t2\ttwo\n")
    rows = page.locator("#paste-preview tbody tr")
    expect(rows).to_have_count(2)
    expect(page.locator("#paste-preview tr.bad")).to_contain_text("ruler")
    page.tap("#paste-add")
    expect(page.locator("#rows > li")).to_have_count(9)
    expect(page.locator("#thing-8")).to_contain_text("stapler")
    page.tap("#undo")
    expect(page.locator("#rows > li")).to_have_count(8)


def test_a_spec_is_saved_and_opened_again(bench, tmp_path):
    page = bench()
    _move_scissors(page)
    page.mouse.up()
    _settled(page)
    shown = _trays(page)
    with page.expect_download() as saved:
        page.tap("#save-spec")
    path = tmp_path / saved.value.suggested_filename
    saved.value.save_as(path)
    assert json.loads(path.read_text())["drawers"][0]["trays"]
    page.tap("#again")
    page.tap("dialog button.danger")
    page.set_input_files("#spec-file", path)
    expect(page.locator("#width-0-0")).to_have_value("412")
    _settled(page)
    assert _trays(page) == shown
    other = tmp_path / "other.json"
    other.write_text("[1, 2]")
    page.set_input_files("#spec-file", other)
    expect(page.locator("dialog")).to_contain_text("other.json is not a spec")


def test_a_drawer_is_duplicated(visit, measure):
    page = visit()
    measure(page)
    page.locator("summary:visible").first.tap()
    page.tap("#copy-drawer")
    assert page.input_value("#width-1-0") == "342"
    expect(page.locator(".plan-drawing")).to_have_count(2)
    page.tap("#undo")
    expect(page.locator(".plan-drawing")).to_have_count(1)


def test_a_small_change_continues_the_plan_and_another_is_made_from_nothing_later(bench):
    page = bench()
    _settled(page)
    sent = []
    page.on("request", lambda request: sent.append(request.post_data_json) if "v1/plans" in request.url else None)
    with page.expect_response(lambda response: "v1/plans" in response.url and len(sent) > 1, timeout=30_000):
        page.tap("#more-0")
    _settled(page)
    assert ["previous" in spec for spec in sent] == [True, False]
    assert sent[0]["previous"]["name"] == sent[0]["name"]
    assert page.locator("#plan-body .changes").count() == 0  # none of it is printed


def test_trays_have_the_tints_of_their_groups_and_a_list_names_them(bench):
    page = bench()
    _settled(page)
    assert page.locator(".groups").count() == 0  # one group alone
    page.locator("[id^=add-]:visible").first.click()
    page.wait_for_selector(".groups")
    _settled(page)
    names = page.locator(".groups li").all_inner_texts()
    assert len(names) > 1
    colours = {
        page.evaluate("node => getComputedStyle(node).backgroundColor", swatch.element_handle())
        for swatch in page.locator(".groups .swatch").all()
    }
    assert len(colours) == len(names)
    filled = page.evaluate(
        "[...document.querySelectorAll('.tray.tinted:not(.lit) > rect')].map(node => getComputedStyle(node).fill)"
    )
    assert set(filled) <= colours
    assert filled

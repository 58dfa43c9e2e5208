"""Outlines of things on the page: from a photo, by a phone, corrected by mouse, touch and keyboard, and refused."""

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect

from api.command.server import listening
from tests.api.kiosk.conftest import _chromium
from tests.api.kiosk.test_accessibility import _faults, _narrow

pytestmark = pytest.mark.service

_PHOTOS = Path(__file__).parents[2] / "silhouettes" / "photo" / "data"

#: ISO/IEC 7810: an ID-1 card, mm; the outline is larger by its margin of 0.5 mm all round, and what a photo adds.
_CARD = (85.60, 53.98)
_ROOMY = 2.0


def _open_panel(page):
    page.tap("#go-things")
    page.locator("#outline > summary").tap()
    return page


@pytest.fixture
def panel(visit):
    """Return a function that opens the page with the panel for outlines."""

    def go(**options):
        return _open_panel(visit(**options))

    return go


def _read_photo(page, name="card", thickness="0.76", body="flat"):
    page.set_input_files("#outline-file", _PHOTOS / f"{name}.jpg")
    page.fill("#outline-thickness", thickness)
    page.select_option("#outline-body", body)
    page.fill("#outline-bar", "150")
    page.tap("#outline-send")


@pytest.fixture
def card(panel):
    """Return a function that opens the page with the outline of a bank card read from a photo."""

    def go(**options):
        page = panel(**options)
        _read_photo(page)
        page.wait_for_selector("#outline-drawing image", timeout=60_000)
        page.locator("#outline-drawing").scroll_into_view_if_needed()
        return page

    return go


def _size(page):
    return [float(side) for side in re.findall(r"[\d.]+(?= mm)", page.locator("#outline-size").text_content())]


def _corner(page, number=0):
    """Return the place of a corner on the screen, in its middle."""
    box = page.locator(f"#outline-0-{number}").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def _count(page):
    return page.locator("#outline-drawing [role=option]").count()


def _drag(page, start, end):
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    page.mouse.move(*end)
    page.mouse.up()


def test_a_photo_becomes_a_thing_of_the_list(card, url):
    page = card()
    for side, true in zip(_size(page), _CARD, strict=True):
        assert true < side < true + _ROOMY
    expect(page.locator("#outline-uncertainty")).to_contain_text("mm")
    expect(page.locator("#outline-height")).to_have_value("0.8")
    page.tap("#outline-add-thing")  # without a name
    expect(page.locator("#outline-name")).to_be_focused()
    page.fill("#outline-name", "library card")
    page.fill("#outline-count", "3")
    page.tap("#outline-add-thing")
    row = page.locator("#row-0")
    expect(row).to_contain_text("library card")
    expect(row).to_contain_text("0.8")
    expect(page.locator("#count-of-0")).to_have_text("3")
    with page.expect_download() as saved:
        page.tap("#save-spec")
    (item,) = json.loads(Path(saved.value.path()).read_text())["items"]
    assert (item["shape"]["kind"], item["shape"]["height"], item["storage"]) == ("silhouette", 0.8, "pocket")
    made = page.request.get(f"{url}/v1/silhouettes/{item['shape']['id']}").json()
    assert (made["kind"], made["state"], made["request"]["bar"]) == ("photo", "succeeded", 150.0)


def test_an_outline_is_corrected_over_the_photo_without_lines(panel):
    page = panel()
    with page.expect_response(lambda response: "overlay.png" in response.url, timeout=60_000) as shown:
        _read_photo(page)
    assert shown.value.url.endswith("/overlay.png?lines=false")
    assert shown.value.ok
    expect(page.locator("#outline-drawing image")).to_have_count(1)


def test_a_thing_with_an_outline_is_planned_and_opened_again(card, measure, tmp_path):
    page = card()
    page.fill("#outline-name", "card")
    page.tap("#outline-add-thing")
    page.tap("#go-measure")
    measure(page, "200", "200", "60")
    expect(page.locator("#plan [data-tray]")).to_have_count(1, timeout=30_000)
    with page.expect_download() as saved:
        page.tap("#save-spec")
    spec = tmp_path / "card.json"
    saved.value.save_as(spec)
    page.tap("#again")
    page.tap("dialog button.danger")
    page.set_input_files("#spec-file", spec)
    page.tap("#go-things")
    expect(page.locator("#row-0")).to_contain_text("card")
    page.tap("#thing-0")
    expect(page.locator("#size-0-2")).to_have_value("0.8")
    expect(page.locator("#size-0-0")).to_have_count(0)  # its sides are those of the outline


def test_points_are_moved_added_and_removed_with_the_mouse(card, url):
    page = card(width=1440, height=900)
    before, many = _size(page), _count(page)
    points = [_corner(page, number) for number in range(many)]
    right = max(range(many), key=lambda number: points[number][0])
    x, y = points[right]
    _drag(page, (x, y), (x + 40, y))
    assert _size(page)[0] > before[0] + 3.0
    assert _count(page) == many
    expect(page.locator(f"#outline-0-{right}")).to_have_attribute("aria-selected", "true")
    page.tap("#outline-undo")
    assert _size(page) == before
    page.tap("#outline-redo")
    assert _size(page)[0] > before[0] + 3.0
    page.tap("#outline-undo")
    # the longest side of the outline gets a point where it is dragged
    number = max(range(many), key=lambda n: _apart(points[n], points[(n + 1) % many]))
    (ax, ay), (bx, by) = points[number], points[(number + 1) % many]
    _drag(page, ((ax + bx) / 2, (ay + by) / 2), ((ax + bx) / 2 + 12, (ay + by) / 2 - 25))
    assert _count(page) == many + 1
    page.tap("#outline-remove")
    assert _count(page) == many
    page.mouse.click(*_corner(page, right))
    page.fill("#outline-x", f"{before[0] + 5.0:.1f}")
    page.keyboard.press("Tab")
    assert _size(page)[0] > before[0] + 3.0
    page.fill("#outline-name", "bent card")
    page.tap("#outline-add-thing")
    expect(page.locator("#row-0")).to_contain_text("bent card")
    newest = page.request.get(f"{url}/v1/silhouettes?limit=1").json()["silhouettes"][0]
    assert (newest["kind"], newest["name"]) == ("points", "bent card")
    assert newest["outline"]["uncertainty"] > 0.5  # that of the photo
    assert newest["outline"]["depth"] == 0.8


def _apart(a, b):
    return ((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5


def test_lines_that_cross_are_no_outline(card):
    page = card()
    many = _count(page)
    left = min(range(many), key=lambda number: _corner(page, number)[0])
    box = page.locator("#outline-drawing").bounding_box()
    _drag(page, _corner(page, left), (box["x"] + box["width"] - 6, box["y"] + box["height"] / 2 + 11))
    expect(page.locator("#outline-size")).to_contain_text("Lines cross")
    expect(page.locator("#outline-add-thing")).to_be_disabled()
    page.tap("#outline-undo")
    expect(page.locator("#outline-add-thing")).to_be_enabled()


def test_a_finger_drags_a_point_and_scrolls_beside_it(card):
    page = card(width=390, height=844, is_mobile=True)
    before = _size(page)
    many = _count(page)
    points = [_corner(page, number) for number in range(many)]
    right = max(range(many), key=lambda number: points[number][0])
    x, y = points[right]
    session = page.context.new_cdp_session(page)

    def touch(kind, *places):
        session.send(
            "Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": px, "y": py} for px, py in places]}
        )

    touch("touchStart", (x + 3, y + 3))  # a finger is not exact
    for step in range(1, 6):
        touch("touchMove", (x + 3 + 2 * step, y + 3))
    touch("touchEnd")
    expect(page.locator("#outline-undo")).to_be_enabled()
    assert _size(page)[0] > before[0] + 1.0
    assert _narrow(page)
    page.tap("#outline-zoom-in")
    assert page.locator("#outline-drawing").bounding_box()["width"] > 390
    assert _narrow(page)  # the drawing scrolls in its frame
    assert _size(page)[0] > before[0] + 1.0


def test_an_outline_is_corrected_with_the_keyboard_alone(card):
    page = card()
    before, many = _size(page), _count(page)
    page.locator("#outline-0-0").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#outline-0-1")).to_be_focused()
    expect(page.locator("#outline-0-1")).to_have_attribute(
        "aria-label", re.compile(r"Point 2 of \d+: [-\d.]+ mm, [-\d.]+ mm")
    )
    page.keyboard.press("Enter")
    x = float(page.input_value("#outline-x"))
    for _ in range(3):
        page.keyboard.press("Shift+ArrowLeft")
    page.keyboard.press("ArrowLeft")
    assert float(page.input_value("#outline-x")) == pytest.approx(x - 3.1, abs=0.11)
    page.keyboard.press("Escape")
    assert float(page.input_value("#outline-x")) == x
    expect(page.locator("#outline-undo")).to_be_disabled()
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    expect(page.locator("#outline-undo")).to_be_enabled()
    page.keyboard.press("a")
    assert _count(page) == many + 1
    page.keyboard.press("Delete")
    assert _count(page) == many
    for _ in range(3):
        page.keyboard.press("Control+z")
    assert _size(page) == before
    expect(page.locator("#outline-undo")).to_be_disabled()


def test_an_outline_is_smoothed_and_made_symmetric(card):
    page = card()
    many = _count(page)
    page.tap("#outline-smooth")
    expect(page.locator("#outline-undo")).to_be_enabled()
    assert _size(page)[0] == pytest.approx(_CARD[0], abs=_ROOMY)
    page.tap("#outline-undo")
    assert _count(page) == many
    page.tap("#outline-mirror")
    page.fill("#mirror-shift", "200")
    expect(page.locator("#mirror-fault")).to_be_visible()
    expect(page.locator("#mirror-apply")).to_be_disabled()
    page.fill("#mirror-shift", "0")
    page.tap("#mirror-across")
    page.tap("#mirror-side")
    page.tap("#mirror-apply")
    expect(page.locator("#mirror-tools")).to_have_count(0)
    for side, true in zip(_size(page), _CARD, strict=True):
        assert true - 0.2 < side < true + _ROOMY


def test_a_refusal_says_the_reason_and_the_remedy_in_the_pages_language(panel):
    page = panel(locale="de")
    _read_photo(page, "tilted")
    refused = page.locator("#outline-refusal")
    expect(refused).to_contain_text("schräg", timeout=60_000)
    expect(refused).to_contain_text("waagerecht halten")
    expect(refused).to_be_focused()
    assert _faults(page) == []
    _read_photo(page)  # another photo, with what was typed
    page.wait_for_selector("#outline-drawing", timeout=60_000)
    expect(page.locator("#outline-refusal")).to_have_count(0)


def test_a_photo_needs_the_height_and_an_unknown_file_is_named(panel, tmp_path):
    page = panel()
    page.set_input_files("#outline-file", _PHOTOS / "card.jpg")
    page.tap("#outline-send")
    expect(page.locator("#outline-thickness")).to_be_focused()
    other = tmp_path / "notes.txt"
    other.write_text("no outline")
    page.set_input_files("#outline-file", other)
    expect(page.locator("#outline-unknown")).to_contain_text("notes.txt")
    expect(page.locator("#outline-send")).to_have_count(0)


def test_a_drawing_is_asked_for_the_unit_that_it_does_not_say(panel, tmp_path):
    page = panel()
    drawing = tmp_path / "shim.svg"
    drawing.write_text('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 2"><path d="M0 0h4v2h-4z"/></svg>')
    page.set_input_files("#outline-file", drawing)
    page.fill("#outline-thickness", "2")
    page.tap("#outline-send")
    expect(page.locator("#outline-unit")).to_have_attribute("aria-invalid", "true", timeout=60_000)
    page.select_option("#outline-unit", "cm")
    page.tap("#outline-send")
    page.wait_for_selector("#outline-drawing", timeout=60_000)
    assert _size(page) == [40.0, 20.0]
    expect(page.locator("#outline-drawing image")).to_have_count(0)


def test_two_photos_are_sent_together(panel, url):
    page = panel()
    page.set_input_files("#outline-file", _PHOTOS / "wood-block.jpg")
    page.set_input_files("#outline-second-file", _PHOTOS / "wood-block-opposite.jpg")
    expect(page.locator("#outline-files li")).to_have_count(2)
    page.fill("#outline-thickness", "35")
    page.tap("#outline-send")
    page.wait_for_selector("#outline-drawing image", timeout=60_000)
    newest = page.request.get(f"{url}/v1/silhouettes?limit=1").json()["silhouettes"][0]
    assert "camera_height_2" in newest["outline"]["details"]


def test_a_phones_photo_arrives_at_the_desk(visit, panel, live_settings):
    with listening(live_settings.model_copy(update={"public_url": "http://drawers.test:8765"})) as address:
        desk = panel(base=address)
        desk.tap("#outline-phone")
        expect(desk.locator("#share-qr")).to_be_visible()
        assert _faults(desk) == []
        link = desk.input_value("#phone-address")
        assert link.startswith("http://drawers.test:8765/#outline=")
        phone = visit(f"/{link[link.index('#') :]}", 390, 844, address, is_mobile=True)
        expect(phone.locator("#outline-for-desk")).to_be_in_viewport()
        _read_photo(phone, "tilted")
        expect(phone.locator("#outline-refusal")).to_be_visible(timeout=60_000)
        expect(desk.locator("#phone-heard")).to_contain_text("gave no outline", timeout=30_000)
        _read_photo(phone)
        expect(phone.locator("#outline-arrived")).to_be_visible(timeout=60_000)
        assert _faults(phone) == []
        desk.wait_for_selector("#outline-drawing image", timeout=30_000)
        assert _size(desk)[0] == pytest.approx(_CARD[0], abs=_ROOMY)
        desk.fill("#outline-name", "card")
        desk.tap("#outline-add-thing")
        expect(desk.locator("#row-0")).to_contain_text("card")


def test_a_phone_cannot_open_the_address_of_the_desk_alone(panel):
    page = panel()
    page.tap("#outline-phone")
    expect(page.locator("#phone-unreachable")).to_be_visible()
    expect(page.locator("#share-qr")).to_have_count(0)
    page.tap("#outline-phone")
    expect(page.locator("#phone-code")).to_have_count(0)


@pytest.mark.parametrize(("width", "scheme"), [(1440, "light"), (1440, "dark"), (390, "light"), (390, "dark")])
def test_the_panel_and_the_editor_have_no_axe_violations(panel, width, scheme, tmp_path):
    page = panel(width=width, height=900, color_scheme=scheme)
    page.locator("#sheet-offer > summary").tap()
    assert _faults(page) == []
    assert _narrow(page)
    page.screenshot(path=tmp_path / f"panel-{width}-{scheme}.png", full_page=True)
    _read_photo(page)
    page.wait_for_selector("#outline-drawing image", timeout=60_000)
    page.tap("#outline-mirror")
    page.locator("#outline-0-0").focus()
    page.keyboard.press("Enter")
    assert _faults(page) == []
    assert _narrow(page)
    page.screenshot(path=tmp_path / f"editor-{width}-{scheme}.png", full_page=True)


def test_the_sheet_is_saved(panel):
    page = panel()
    page.locator("#sheet-offer > summary").tap()
    page.select_option("#sheet-tint", "pink")
    with page.expect_download() as saved:
        page.tap("#sheet-save")
    assert saved.value.suggested_filename == "reference-sheet-a4-pink.pdf"
    assert Path(saved.value.path()).read_bytes().startswith(b"%PDF-")


@pytest.fixture
def camera(browser, tmp_path):
    """Return a function that starts a browser whose camera shows a photo (the fake device of Chromium)."""
    started = []

    def start(photo):
        film = tmp_path / "camera.mjpeg"
        film.write_bytes(_PHOTOS.joinpath(f"{photo}.jpg").read_bytes())
        flags = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream", "--no-sandbox"]
        path = f"--use-file-for-fake-video-capture={film}"
        started.append(browser.browser_type.launch(executable_path=_chromium(), args=[*flags, path]))
        return started[-1]

    yield start
    for own in started:
        own.close()


@pytest.mark.parametrize(("photo", "verdict"), [("card", "The sheet is seen"), ("tilted", "Hold the phone level")])
def test_the_cameras_picture_is_checked_before_a_photo(camera, url, photo, verdict):
    page = camera(photo).new_context(viewport={"width": 390, "height": 844}, has_touch=True).new_page()
    page.goto(url)
    page.wait_for_selector("html[data-ready]")
    _open_panel(page)
    page.tap("#outline-live")
    expect(page.locator("#camera-verdict")).to_contain_text(verdict, timeout=30_000)
    assert _faults(page) == []
    if photo == "card":
        page.tap("#camera-shoot")
        expect(page.locator("#outline-files li")).to_have_count(1)
        expect(page.locator("#camera")).to_have_count(0)
        page.fill("#outline-thickness", "0.76")
        page.tap("#outline-send")
        page.wait_for_selector("#outline-drawing image", timeout=60_000)
        assert _size(page)[0] == pytest.approx(_CARD[0], abs=_ROOMY)


def test_a_camera_that_is_refused_is_said(panel):
    page = panel()  # this browser has no camera
    page.tap("#outline-live")
    expect(page.locator("#camera-verdict")).to_contain_text("cannot be used here")
    expect(page.locator("#camera-shoot")).to_be_disabled()
    page.tap("#camera-close")
    expect(page.locator("#camera")).to_have_count(0)

"""The whole main job by touch, also on a screen in a shop whose service asks for a key."""

import hashlib
import json
import zipfile

import pytest

pytestmark = pytest.mark.service


def test_a_drawer_from_the_tape_to_the_files_by_touch(visit, measure, url):
    page = visit()
    measure(page, bed=300)  # a calliper of 235 mm takes a tray of six cells
    page.fill("#width-0-1", "343")
    page.wait_for_selector("#plan-sum")
    page.tap("#next")
    for thing in ("battery-aa", "battery-aa", "pen-ball"):
        page.tap(f"#add-{thing}")
    page.fill("#own-name", "calliper")
    for index, size in enumerate(("235", "75", "16")):
        page.fill(f"#own-size-{index}", size)
    page.tap("#own-add")
    page.wait_for_selector(".plan-drawing :text('calliper')")
    page.wait_for_selector(".plan-drawing text:has-text('2 \u00d7')")  # two batteries in one tray
    page.tap("#next")
    page.select_option("#material", "PETG")
    page.fill("#price", "24")
    page.tap("#next")
    page.tap("#submit")
    page.wait_for_selector("#tab-view", timeout=120_000)
    triangles = page.wait_for_selector("#stage canvas[data-drawn]", timeout=60_000).get_attribute("data-drawn")
    assert int(triangles) > 1000
    job = page.url.partition("#job=")[2]
    manifest = json.loads(page.request.get(f"{url}/v1/jobs/{job}/manifest").body())
    facts = dict(
        zip(page.locator("#facts dt").all_inner_texts(), page.locator("#facts dd").all_inner_texts(), strict=True)
    )
    assert facts["Print runs"] == str(len(manifest["runs"]))
    assert facts["Filament cost"] == f"{manifest['work']['cost']:.2f}"

    page.tap("#tab-map")
    assert page.locator(".legend tbody tr").count() == sum(
        placement["cell"] is not None for placement in manifest["drawers"][0]["placements"]
    )
    page.tap("#tab-files")
    with page.expect_download() as saved:
        page.locator("[id='file-bundle.zip']").tap()
    data = saved.value.path().read_bytes()
    assert hashlib.sha256(data).hexdigest() == manifest["bundle"]["sha256"]
    with zipfile.ZipFile(saved.value.path()) as bundle:
        assert bundle.testzip() is None


def test_runs_are_ticked_off_until_everything_is_printed(small):
    page = small()
    page.tap("#submit")
    page.wait_for_selector("#tab-runs", timeout=120_000)
    page.tap("#tab-runs")
    page.wait_for_selector(".run")
    first = page.locator(".run").first.get_attribute("id")
    number = first.removeprefix("run-")
    with page.expect_download() as saved:
        page.tap(f"#sheet-{number}")
    assert saved.value.suggested_filename == f"run-{number}.pdf"
    page.tap(f"#failed-{number}")
    page.wait_for_selector(f"#{first}", state="detached")  # what failed is laid out again, as another run
    while page.locator("ol .run").count():
        left = page.locator("ol .run").first.get_attribute("id")
        page.tap(f"#printed-{left.removeprefix('run-')}")
        page.wait_for_selector(f"#{left}", state="detached")
    page.wait_for_selector("#all-printed")
    assert page.locator("#recorded .run").count() >= 2


def test_the_page_prompts_for_a_key_until_it_is_accepted_and_remembers_it(visit, measure, locked):
    base, key = locked
    page = visit(base=base, ready=False)
    page.wait_for_selector("#key")
    page.fill("#key", "dw_nobody_nothing")
    page.tap("dialog button.main")
    page.wait_for_selector("#key >> visible=true")
    page.fill("#key", key)
    page.check("#key-device")
    page.tap("dialog button.main")
    page.wait_for_selector("html[data-ready]")
    measure(page, "130", "130", "60")
    page.wait_for_selector("#plan-sum")
    page.tap("#go-make")
    page.tap("#submit")
    page.wait_for_selector("#tab-files", timeout=120_000)
    page.tap("#tab-files")
    with page.expect_download():
        page.locator("[id='file-bundle.zip']").tap()
    page.reload()
    page.wait_for_selector("#tab-files", timeout=60_000)
    assert key not in page.content()

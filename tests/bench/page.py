"""The page in Chromium: size, first paint, from a change to its plan, frames of a drag, actions for a dozen things.

On an idle machine. Goals: 150 kB without the 3-D view, first paint under 0.3 s, 300 ms for 30 things and 600 ms for 60,
60 frames a second on a plan of 60 trays, 12 things in at most 30 actions.
"""

import itertools
import json
import os
import statistics
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, FilePayload, Page, sync_playwright

from api.command.server import listening
from api.kiosk.router import page_files
from tests.api.kiosk.conftest import _FLAGS, _chromium, _node
from worker.jobs.common.settings import Settings
from worker.jobs.processes.supervisor import Supervisor

__all__ = ["main"]

#: What a first visit in English does not load.
_LATER = (
    "vendor/three/", "vendor/uqr/", "jobs/view.js", "messages.de", "messages.ar", "worker.js", "LICENSE", "README",
    "outline/camera", "outline/editor", "outline/file", "outline/outline_panel", "outline/phone_code",
    "outline/reading", "outline/rings", "outline/sheet", "household/household.js", "jobs/jobs_list.js",
)  # fmt: skip

_REPEATS = 7

#: Clicks a button and resolves to the milliseconds until a plan of the draft as it is then has been painted.
_CHANGE = """id => new Promise((resolve) => {
    const start = performance.now();
    document.getElementById(id).click();
    let left = false;
    const look = () => {
        const busy = document.getElementById("plan").ariaBusy === "true";
        const fresh = document.querySelector("#sums:not(.stale)") && !busy;
        left ||= !fresh;
        if (left && fresh) resolve(performance.now() - start);
        else requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
})"""

#: Counts frames until it is told to stop; resolves to their number, the seconds and the longest one in ms.
_FRAMES = """() => {
    const times = [performance.now()];
    let on = true;
    const next = () => { times.push(performance.now()); if (on) requestAnimationFrame(next); };
    requestAnimationFrame(next);
    window.stopFrames = () => { on = false; return times; };
}"""


def main() -> None:
    """Print the figures."""
    _size()
    os.environ.setdefault("PLAYWRIGHT_NODEJS_PATH", _node())
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        settings = Settings.read(data_dir=Path(folder), port=0, open_loopback="always")
        flags = [*_FLAGS, "--no-sandbox"] if os.geteuid() == 0 else _FLAGS
        browser = playwright.chromium.launch(executable_path=_chromium(), args=flags)
        with Supervisor(settings), listening(settings) as address:
            _settle(browser, address)
            _first_paint(browser, address)
            for count in (30, 60):
                _change_to_plan(browser, address, count)
            _drag(browser, address)
            _actions(browser, address)
        browser.close()


def _size() -> None:
    packed = {path: len(asset.packed) for path, asset in page_files().items()}
    sizes = [size for path, size in packed.items() if not any(part in path for part in _LATER)]
    three = sum(size for path, size in packed.items() if "vendor/three/" in path)
    print(f"compressed: {sum(sizes) / 1000:.1f} kB in {len(sizes)} files; the 3-D view {three / 1000:.0f} kB more")


def _open(browser: Browser, address: str) -> Page:
    page = browser.new_context(viewport={"width": 1440, "height": 900}, service_workers="block").new_page()
    page.goto(address)
    page.wait_for_selector("html[data-ready]")
    return page


def _settle(browser: Browser, address: str) -> None:
    """Wait until the processes that start with the service have loaded their libraries: a page is opened later."""
    page = _open(browser, address)
    _load(page, _spec(1))
    made = page.request.post(f"{address}/v1/jobs", data=_spec(1)).json()["id"]
    while page.request.get(f"{address}/v1/jobs/{made}", headers={"Prefer": "wait=10"}).json()["state"] != "succeeded":
        pass
    page.context.close()


def _first_paint(browser: Browser, address: str) -> None:
    times = []
    for _ in range(_REPEATS):
        page = _open(browser, address)
        page.wait_for_timeout(300)
        times.append(page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime"))
        page.context.close()
    print(f"first paint: median {statistics.median(times):.0f} ms, longest {max(times):.0f} ms")


def _spec(count: int, **drawer: Any) -> dict[str, Any]:
    items = [
        {"name": f"thing {n}", "shape": {"kind": "box", "size": [30 + 7 * n % 50, 20 + 5 * n % 30, 12 + n % 9]}}
        for n in range(count)
    ]
    drawers = [{"name": "wide", "width": 900, "depth": 560, "height": 70, **drawer}]
    return {
        "spec": "1", "name": "bench", "drawers": drawers, "items": items,
        "printer": {"bed": [250, 250, 250], "nozzle": 0.4, "layer": 0.2}, "material": {"name": "PLA"},
    }  # fmt: skip


def _load(page: Page, spec: dict[str, Any]) -> None:
    file = FilePayload(name="bench.json", mimeType="application/json", buffer=json.dumps(spec).encode())
    page.set_input_files("#spec-file", files=[file])
    page.wait_for_selector("#sums:not(.stale)", timeout=60_000)
    page.wait_for_selector("#plan[aria-busy=false]", timeout=60_000)


def _change_to_plan(browser: Browser, address: str, count: int) -> None:
    page = _open(browser, address)
    _load(page, _spec(count))
    page.click("#go-things")
    times = [page.evaluate(_CHANGE, f"more-{n}") for n in range(_REPEATS)]
    print(f"change to plan, {count} things: median {statistics.median(times):.0f} ms, longest {max(times):.0f} ms")
    page.context.close()


def _drag(browser: Browser, address: str) -> None:
    page = _open(browser, address)
    trays = [{"name": f"tray {n}", "cells": [2, 1], "height": 40, "at": [2 * (n % 10), n // 10]} for n in range(60)]
    _load(page, _spec(0, trays=trays))
    shapes = page.locator("[data-tray] > rect")
    box = shapes.first.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.evaluate(_FRAMES)
    for step in range(120):
        page.mouse.move(x + 4 * step, y - step)
    times = page.evaluate("stopFrames()")
    page.keyboard.press("Escape")
    gaps = [after - before for before, after in itertools.pairwise(times)]
    rate = 1000 * len(gaps) / (times[-1] - times[0])
    print(f"drag over {shapes.count()} trays: {rate:.0f} frames a second, longest frame {max(gaps):.0f} ms")
    page.context.close()


def _actions(browser: Browser, address: str) -> None:
    page = _open(browser, address)
    count = 0

    def act(action: Any, *arguments: Any) -> None:
        nonlocal count
        action(*arguments)
        count += 1

    for field, text in (("width-0-0", "600"), ("depth-0-0", "450"), ("height-0", "70")):
        act(page.fill, f"#{field}", text)
    act(page.click, "#plan-bed-250")
    act(page.click, "#go-things")
    drawer = count
    act(page.click, "#paste summary")
    act(page.fill, "#paste-text", "\n".join(f"thing {n}\t{40 + n}\t30\t12\t{n + 1}" for n in range(12)))
    act(page.click, "#paste-add")
    page.wait_for_selector("#row-11")
    pasted = count - drawer
    before = count
    for entry in page.locator("[id^=add-]:visible").all()[:12]:
        act(entry.click)
    print(
        f"12 things: {pasted} actions pasted, {count - before} from the catalogue; before them {drawer} for the drawer"
    )
    page.context.close()

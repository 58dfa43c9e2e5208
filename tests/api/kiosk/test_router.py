import gzip
import json
import posixpath
import re
from importlib.resources import files

import pytest

from api.kiosk.router import _policy, page_files

_PAGE = files("api.kiosk").joinpath("page")
_OWN = [name for name in page_files() if name.endswith((".js", ".html", ".css")) and not name.startswith("vendor/")]
_WORDS = json.loads(_PAGE.joinpath("language/messages.en.json").read_bytes())


def test_the_page_and_its_assets_are_served(service):
    page = service.get("/")
    assert page.status_code == 200
    assert page.headers["content-type"].startswith("text/html")
    for path in re.findall(r'(?:src|href)="(kiosk/[^"]+)"', page.text):
        assert service.get(f"/{path}").status_code == 200, path


def test_the_content_security_policy_permits_no_other_origin(service):
    policy = service.get("/").headers["content-security-policy"]
    assert policy == _policy()
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy


@pytest.mark.parametrize("name", _OWN)
def test_no_asset_refers_to_another_origin(name):
    text = page_files()[name].data.decode()
    assert re.findall(r"(?:https?:)?//[a-z0-9.-]+\.[a-z]{2,}", text.replace("http://www.w3.org/2000/svg", "")) == []
    assert "innerHTML" not in text  # what a caller wrote is text and never markup


@pytest.mark.parametrize("name", [name for name in _OWN if name.endswith(".js")])
def test_a_name_says_what_its_value_is(name):
    code = re.sub(r"/\*.*?\*/|//[^\n]*", "", page_files()[name].data.decode(), flags=re.DOTALL)
    assert re.findall(r"\b(?:told|said|one|found|mine|wanted|known|asked|afresh|anew)\b", code) == []


@pytest.mark.parametrize(
    ("name", "licence", "short"),
    [
        ("three", "The MIT License", "MIT"),
        ("preact", "The MIT License", "MIT"),
        ("signals", "The MIT License", "MIT"),
        ("htm", "Apache License", "Apache-2.0"),
        ("uqr", "MIT License", "MIT"),
    ],
)
def test_vendored_code_has_its_licence(name, licence, short):
    assert _PAGE.joinpath(f"vendor/{name}/LICENSE").read_text().strip().startswith(licence)
    assert short in page_files()[f"vendor/{name}/README.txt"].data.decode()


@pytest.mark.parametrize("path", ["/", "/kiosk/main.js", "/kiosk/vendor/three/three.core.min.js", "/kiosk/style.css"])
def test_assets_are_compressed_for_clients_that_accept_gzip(service, path):
    plain = service.get(path, headers={"Accept-Encoding": "identity"})
    packed = service.get(path, headers={"Accept-Encoding": "br, gzip;q=0.8"})
    assert packed.headers["content-encoding"] == "gzip"
    assert packed.content == plain.content  # the client unpacks it
    assert int(packed.headers["content-length"]) < 0.6 * len(plain.content)
    assert "content-encoding" not in plain.headers
    assert packed.headers["etag"] != plain.headers["etag"]  # RFC 9110, 8.8.3.3
    assert all("Accept-Encoding" in answer.headers["vary"] for answer in (packed, plain))
    for refusal in ("gzip;q=0", "identity", "br", "*;q=0", "gzip; q=0.0"):
        assert "content-encoding" not in service.get(path, headers={"Accept-Encoding": refusal}).headers


def _loaded_at_first():
    """The names of what the page loads before a view is opened: all that its scripts import, and one language."""
    files = page_files()
    table = dict(re.findall(r'"([^"]+)":"\./kiosk/([^"]+)"', files["index.html"].data.decode()))
    languages = [name for name in files if name.startswith("language/messages.") and name.endswith(".json")]
    names = {"index.html", "style.css", "icon.svg", max(languages, key=lambda name: len(files[name].data))}
    waiting = ["main.js"]
    while waiting:
        name = waiting.pop()
        if name not in names:
            names.add(name)
            for target in re.findall(r'\b(?:from|import)\s*"([\w@./-]+)"', files[name].data.decode()):
                path = table.get(target) or posixpath.normpath(posixpath.join(posixpath.dirname(name), target))
                waiting.append(path)
    return names


def test_what_the_page_loads_at_first_is_below_150_kb_compressed():
    names = _loaded_at_first()
    assert {"draft/draft.js", "workbench/bench.js", "vendor/preact/preact.mjs"} <= names
    assert not any(name.startswith("vendor/three") for name in names)
    assert sum(len(gzip.compress(page_files()[name].data)) for name in names) < 150_000


def test_every_message_is_in_the_catalogue_and_used():
    text = "\n".join(page_files()[name].data.decode() for name in _OWN)
    named = set(re.findall(r'\bt\("(\w+)"', text)) | set(re.findall(r'data-t(?:-label)?="(\w+)"', text))
    assert named - _WORDS.keys() == set()
    made = {word for start in re.findall(r"\bt\(`(\w*)\$", text) for word in _WORDS if start and word.startswith(start)}
    quoted = set(re.findall(r'"(\w+)"', text))
    loose = {word for word in _WORDS if word.removesuffix("_one") not in named | made | quoted and word not in made}
    # these are put together from a prefix that the caller gives
    assert {word for word in loose if not word.startswith(("access_", "pose_", "storage_"))} == set()


def test_an_unchanged_asset_is_answered_with_304(service):
    tag = service.get("/kiosk/main.js").headers["etag"]
    again = service.get("/kiosk/main.js", headers={"If-None-Match": tag})
    assert again.status_code == 304
    assert service.head("/kiosk/main.js").headers["etag"] == tag


@pytest.mark.parametrize("path", ["nothing.js", "../router.py", "..%2f__init__.py", "page/index.html", "%00", ""])
def test_no_name_becomes_a_path(service, path):
    assert service.get(f"/kiosk/{path}").status_code == 404


def test_the_page_gets_its_settings(service):
    assert service.get("/kiosk/settings.json").json() == {"idle_minutes": 0.0, "public_url": ""}

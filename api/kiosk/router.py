"""Routes of the page and its assets."""

import base64
import gzip
import re
from dataclasses import dataclass
from functools import cached_property, lru_cache
from hashlib import sha256
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Final

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.app_state import AppStateDep
from api.http.problems.errors import AddressUnknown
from api.http.requests.preconditions import not_modified
from api.http.responses.ranges import content_tag

__all__ = ["page_files", "router"]

router = APIRouter(tags=["kiosk"])

_TYPES: Final = {
    "css": "text/css; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "json": "application/json",
    "mjs": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "txt": "text/plain; charset=utf-8",
    "webmanifest": "application/manifest+json",
}

#: The weight of a content coding (RFC 9110, 12.4.2).
_WEIGHT: Final = re.compile(r"q\s*=\s*([01](?:\.[0-9]{0,3})?)", re.ASCII)

#: The service worker, which serves the whole page (Service Workers, W3C: by default only its own folder).
_WORKER: Final = "worker.js"

#: Browsers revalidate assets on each load; an unchanged one is answered with 304.
_CACHING: Final = "no-cache"


class KioskSettings(BaseModel):
    """Settings of the page."""

    model_config = ConfigDict(frozen=True)

    idle_minutes: float = Field(description="Idle minutes after which the page returns to its start; 0: never.")
    public_url: str = Field(description="The address at which others reach the service; empty if unknown.")


@dataclass(frozen=True)
class Asset:
    """Content, media type and entity tag of one file of the page."""

    data: bytes
    media_type: str
    tag: str

    @cached_property
    def packed(self) -> bytes:
        """The content compressed with gzip, the same bytes each time: three.js goes from 909 to 220 kB."""
        return gzip.compress(self.data, compresslevel=9, mtime=0)


@lru_cache(maxsize=1)
def page_files() -> dict[str, Asset]:
    """Return all files of the page by path; requests are looked up here, never in the file system."""
    assets: dict[str, Asset] = {}

    def gather(folder: Traversable, path: str) -> None:
        for entry in folder.iterdir():
            if entry.is_dir():
                gather(entry, f"{path}{entry.name}/")
            elif (media_type := _TYPES.get(entry.name.rpartition(".")[2])) is not None:
                data = entry.read_bytes()
                assets[path + entry.name] = Asset(data, media_type, content_tag(data))

    gather(files("api.kiosk").joinpath("page"), "")
    return assets


@lru_cache(maxsize=1)
def _policy() -> str:
    """Return the Content-Security-Policy: own files only, and the inline import map by its hash (CSP level 3)."""
    page = page_files()["index.html"].data
    scripts = re.findall(rb'<script type="importmap">(.*?)</script>', page, re.DOTALL)
    digests = " ".join(f"'sha256-{base64.b64encode(sha256(script).digest()).decode()}'" for script in scripts)
    return (
        f"default-src 'none'; script-src 'self' {digests}; style-src 'self'; img-src 'self' blob:; "
        "connect-src 'self' blob:; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


@router.head("/", include_in_schema=False)
@router.get("/", include_in_schema=False)
async def get_page(request: Request) -> Response:
    """Serve the page."""
    return _answer(request, "index.html")


@router.get("/kiosk/settings.json", include_in_schema=False)
async def get_settings(state: AppStateDep) -> KioskSettings:
    """Serve the settings of the page."""
    return KioskSettings(idle_minutes=state.settings.kiosk_idle_minutes, public_url=state.settings.public_url)


@router.head("/kiosk/{path:path}", include_in_schema=False)
@router.get("/kiosk/{path:path}", include_in_schema=False)
async def get_asset(request: Request, path: str) -> Response:
    """Serve one asset of the page."""
    return _answer(request, path)


def _answer(request: Request, path: str) -> Response:
    asset = page_files().get(path)
    if asset is None:
        raise AddressUnknown
    packed = _accepts_gzip(request)
    tag = f'{asset.tag[:-1]}-gzip"' if packed else asset.tag
    headers = {"ETag": tag, "Cache-Control": _CACHING, "Content-Security-Policy": _policy(), "Vary": "Accept-Encoding"}
    if path == _WORKER:
        headers["Service-Worker-Allowed"] = "/"
    if (unchanged := not_modified(request, headers)) is not None:
        return unchanged
    data = asset.packed if packed else asset.data
    if packed:
        headers["Content-Encoding"] = "gzip"
    if request.method == "HEAD":
        return Response(headers={**headers, "Content-Length": str(len(data))}, media_type=asset.media_type)
    return Response(data, headers=headers, media_type=asset.media_type)


def _accepts_gzip(request: Request) -> bool:
    """Return whether the client accepts gzip (RFC 9110, 12.5.3): it names it, or any coding, without a weight of 0."""
    weights: dict[str, float] = {}
    for coding in request.headers.get("Accept-Encoding", "").lower().split(","):
        name, _, weight = coding.partition(";")
        match = _WEIGHT.fullmatch(weight.strip()) if weight else None
        weights[name.strip()] = 1.0 if not weight else float(match[1]) if match else 0.0
    return weights.get("gzip", weights.get("*", 0.0)) > 0.0

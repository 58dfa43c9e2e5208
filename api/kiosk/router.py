"""The kiosk's page and its files."""

import base64
import re
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from http import HTTPStatus
from importlib.resources import files
from importlib.resources.abc import Traversable
from typing import Final

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from api.http.errors import AddressUnknown
from api.http.ranges import entity_tag, tag_matches

__all__ = ["router"]

router = APIRouter(tags=["kiosk"])

_TYPES: Final = {
    "css": "text/css; charset=utf-8",
    "html": "text/html; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "json": "application/json",
    "svg": "image/svg+xml",
    "txt": "text/plain; charset=utf-8",
}

#: The page asks again each time, and is told that it has it already.
_CACHING: Final = "no-cache"


class KioskSettings(BaseModel):
    """What the page is told about where it stands."""

    model_config = ConfigDict(frozen=True)

    idle_minutes: float = Field(description="Minutes without a touch before the page goes back to its start; 0: never.")


@dataclass(frozen=True, slots=True)
class _Asset:
    """A file of the page."""

    data: bytes
    media_type: str
    tag: str


@lru_cache(maxsize=1)
def _assets() -> dict[str, _Asset]:
    """Return every file of the page by its path: a name is looked up here and never in the file system."""
    assets: dict[str, _Asset] = {}

    def gather(folder: Traversable, path: str) -> None:
        for entry in folder.iterdir():
            if entry.is_dir():
                gather(entry, f"{path}{entry.name}/")
            elif (media_type := _TYPES.get(entry.name.rpartition(".")[2])) is not None:
                data = entry.read_bytes()
                assets[path + entry.name] = _Asset(data, media_type, entity_tag(sha256(data).hexdigest()))

    gather(files("api.kiosk").joinpath("page"), "")
    return assets


@lru_cache(maxsize=1)
def _policy() -> str:
    """Return what the page may load: its own files, and the one script in it, by its digest (CSP level 3)."""
    page = _assets()["index.html"].data
    scripts = re.findall(rb'<script type="importmap">(.*?)</script>', page, re.DOTALL)
    digests = " ".join(f"'sha256-{base64.b64encode(sha256(script).digest()).decode()}'" for script in scripts)
    return (
        f"default-src 'none'; script-src 'self' {digests}; style-src 'self'; img-src 'self' blob:; "
        "connect-src 'self' blob:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


@router.head("/", include_in_schema=False)
@router.get("/", include_in_schema=False)
def get_page(request: Request) -> Response:
    """Hand out the page."""
    return _answer(request, "index.html")


@router.get("/kiosk/settings.json", include_in_schema=False)
def get_settings(request: Request) -> KioskSettings:
    """Tell the page how to behave where it stands."""
    return KioskSettings(idle_minutes=request.app.state.settings.kiosk_idle_minutes)


@router.head("/kiosk/{path:path}", include_in_schema=False)
@router.get("/kiosk/{path:path}", include_in_schema=False)
def get_asset(request: Request, path: str) -> Response:
    """Hand out one file of the page."""
    return _answer(request, path)


def _answer(request: Request, path: str) -> Response:
    asset = _assets().get(path)
    if asset is None:
        raise AddressUnknown
    headers = {"ETag": asset.tag, "Cache-Control": _CACHING, "Content-Security-Policy": _policy()}
    match = request.headers.get("if-none-match")
    if match is not None and tag_matches(match, asset.tag, weak=True):
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
    if request.method == "HEAD":
        return Response(headers={**headers, "Content-Length": str(len(asset.data))}, media_type=asset.media_type)
    return Response(asset.data, headers=headers, media_type=asset.media_type)

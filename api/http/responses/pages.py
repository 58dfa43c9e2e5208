"""Pages of a list: the parameters of all lists, and the link from a page to the next one (RFC 8288, rel=next)."""

from collections.abc import Iterable
from urllib.parse import urlencode

from fastapi import Request, Response
from pydantic import BaseModel, ConfigDict

from api.http.requests.base_url import base_of

__all__ = ["PageQuery", "link_next", "next_url"]


class PageQuery(BaseModel):
    """The query parameters of a list; each list describes its own, and adds conditions."""

    model_config = ConfigDict(extra="forbid")

    limit: int
    after: str | None

    def query(self) -> str:
        """Return the query string that all pages share: everything but ``after``."""
        parameters = self.model_dump(mode="json", exclude_defaults=True, exclude={"after"})
        return urlencode({**parameters, "limit": self.limit}, doseq=True)


def next_url(request: Request, kind: str, ids: Iterable[str], page: PageQuery) -> str | None:
    """Return the URL of the next page, None on the last one.

    Args:
        request: the request, for the base URL.
        kind: the resource, as in the path.
        ids: those on the page, and one more if another page follows.
        page: the parameters of this page.
    """
    listed = list(ids)
    if len(listed) <= page.limit:
        return None
    return f"{base_of(request)}/v1/{kind}?{page.query()}&after={listed[page.limit - 1]}"


def link_next(response: Response, url: str | None) -> None:
    """Set the Link header to the next page, if there is one."""
    if url is not None:
        response.headers["Link"] = f'<{url}>; rel="next"'

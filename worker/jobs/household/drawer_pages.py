"""URLs of the pages that show drawers of the household to people."""

from worker.spec import Spec

__all__ = ["drawer_page", "drawer_pages"]


def drawer_page(base: str, drawer_id: str) -> str:
    """Return the URL of a drawer's page; ``base`` is that of the service."""
    return f"{base}/#drawer={drawer_id}"


def drawer_pages(public_url: str, spec: Spec) -> dict[str, str]:
    """Return the URLs of the pages of a spec's drawers by their names in it, of those that the household has.

    Without a public URL there are none: any other address may work on this machine only.
    """
    if not public_url:
        return {}
    return {drawer.name: drawer_page(public_url, drawer.id) for drawer in spec.drawers if drawer.id is not None}

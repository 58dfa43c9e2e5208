"""The page for a shared screen, served with all its assets: nothing is loaded from another origin."""

from api.kiosk.router import router

__all__ = ["router"]

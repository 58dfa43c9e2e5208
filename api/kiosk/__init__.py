"""The kiosk: one page for a shared screen, with all that it loads; nothing comes from elsewhere."""

from api.kiosk.router import router

__all__ = ["router"]

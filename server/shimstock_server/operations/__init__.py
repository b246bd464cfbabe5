"""What an operator needs: health, metrics, the document, backup and restore, the admin command line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .pages import HEADERS as PAGE_HEADERS
    from .pages import render_page as render_page
    from .routes import blueprints as blueprints

__all__ = ["PAGE_HEADERS", "blueprints", "render_page"]


def __getattr__(name: str) -> Any:
    # The admin command stands in this package; without the server's libraries it must start and say so.
    if name == "blueprints":
        from .routes import blueprints

        return blueprints
    if name in ("PAGE_HEADERS", "render_page"):
        from . import pages

        return pages.HEADERS if name == "PAGE_HEADERS" else pages.render_page
    raise AttributeError(name)

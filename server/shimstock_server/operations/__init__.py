"""What an operator needs: health, metrics, the document, backup and restore, the admin command line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .routes import blueprints as blueprints

__all__ = ["blueprints"]


def __getattr__(name: str) -> Any:
    # The admin command stands in this package; without the server's libraries it must start and say so.
    if name == "blueprints":
        from .routes import blueprints

        return blueprints
    raise AttributeError(name)

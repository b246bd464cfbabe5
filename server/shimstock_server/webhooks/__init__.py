"""Webhooks: who is told of what happens, and the feed of everything."""

from .delivery import tell
from .described import describe
from .endpoints import forget_delivered
from .events import EVENT_TYPES
from .routes import blueprints

__all__ = ["EVENT_TYPES", "blueprints", "describe", "forget_delivered", "tell"]

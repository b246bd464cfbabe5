"""The card that an owner takes home: before and after, in words and in a picture."""

from .routes import blueprint

__all__ = ["blueprints"]

blueprints = (blueprint,)

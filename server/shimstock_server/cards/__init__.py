"""The card that an owner takes home: before and after, in words and in a picture."""

from .content import CardContent
from .gathering import card_of, reader_of
from .page import page
from .routes import blueprint

__all__ = ["CardContent", "blueprints", "card_of", "page", "reader_of"]

blueprints = (blueprint,)

"""Maps and curves of an instrument as it is set up: where its strings touch, how its frets sound."""

from .routes import blueprint

__all__ = ["blueprints"]

blueprints = (blueprint,)

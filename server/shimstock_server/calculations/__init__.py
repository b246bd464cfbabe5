"""The formulas of the calculation module, each at an address of its own."""

from .recording import blueprint as recordings
from .routes import blueprint, pages

blueprints = (blueprint, pages, recordings)

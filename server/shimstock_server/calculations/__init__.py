"""The formulas of the calculation module, each at an address of its own."""

from .routes import blueprint, pages

blueprints = (blueprint, pages)

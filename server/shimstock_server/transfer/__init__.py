"""Exports of everything that the shop owns, and imports."""

from .exporting import write_export
from .importing import ImportRefused, put_rows, read_export
from .routes import blueprint

__all__ = ["ImportRefused", "put_rows", "read_export", "write_export"]

blueprints = (blueprint,)

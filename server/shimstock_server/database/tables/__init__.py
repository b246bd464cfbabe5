"""Every table of the service; `Base.metadata` is whole once this package is imported."""

from . import bench, catalogue, jobs, keys, operations, owners, shop
from .base import Base

__all__ = ["Base", "bench", "catalogue", "jobs", "keys", "operations", "owners", "shop"]

"""Every table of the service; `Base.metadata` is whole once this package is imported."""

from . import (
    bench,
    booking,
    cards,
    catalogue,
    jobs,
    keys,
    learning,
    operations,
    owners,
    seasons,
    shop,
    webhooks,
)
from .base import Base

__all__ = [
    "Base",
    "bench",
    "booking",
    "cards",
    "catalogue",
    "jobs",
    "keys",
    "learning",
    "operations",
    "owners",
    "seasons",
    "shop",
    "webhooks",
]

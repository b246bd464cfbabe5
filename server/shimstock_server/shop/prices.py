"""What the shop's plans reckon with: minutes, and what a mistake costs.

Only what the shop has set is stored; everything else is as usual, also after an upgrade that knows better.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from shimstock_calc.plan.model import Prices, Settings
from shimstock_server.database.tables.shop import Shop

GROUPS = ("reading", "adjustment")


def merge_prices(stored: Mapping[str, Any], sent: Mapping[str, Any]) -> dict[str, Any]:
    """Return prices after a change: what is named is set, null takes it back, the rest stays (RFC 7396).

    >>> merge_prices({"wrong": 90.0, "reading": {"relief": 2.0}}, {"wrong": None, "reading": {"action": 1.0}})
    {'reading': {'relief': 2.0, 'action': 1.0}}
    """
    groups = {
        name: _set({**stored.get(name, {}), **sent.get(name, {})})
        for name in GROUPS
        if name in stored or name in sent
    }
    return {name: value for name, value in _set({**stored, **sent, **groups}).items() if value != {}}


def _set(prices: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in prices.items() if value is not None}


def prices_of(stored: Mapping[str, Any]) -> Prices:
    """Return whole prices: what is stored, and for everything else what is usual."""
    usual = Prices()
    groups = {name: {**getattr(usual, name), **stored.get(name, {})} for name in GROUPS}
    return replace(usual, **{**stored, **groups})


def plan_settings(shop: Shop) -> Settings:
    """Return a shop's settings as its plans take them."""
    return Settings(
        settle_minutes=float(shop.settle_first_minutes),
        humidity_low=shop.humidity_low,
        humidity_high=shop.humidity_high,
        everything_at_the_end=shop.everything_at_the_end,
        prices=prices_of(shop.prices),
    )

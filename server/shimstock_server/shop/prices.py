"""What the shop's plans reckon with: minutes, and what a mistake costs.

Only what the shop has set is stored. Everything else is as learned from closed jobs, once there are enough
of a kind, or else as usual, also after an upgrade that knows better.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.plan.model import Prices, Settings
from shimstock_server.database.tables.learning import LearnedMinutes
from shimstock_server.database.tables.shop import Shop

GROUPS = ("reading", "adjustment")

LEAST_WORK = 0.05
"""Least that a reading or an adjustment takes [min]: one that cost nothing would be wanted for ever."""

LEAST_SAMPLES = 20
"""Readings or adjustments of a kind from which the plans reckon with their median; judgement."""

Minutes = Mapping[str, Mapping[str, float]]
"""Minutes by group and name."""


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


def learned_minutes(session: Session) -> Minutes:
    """Return the minutes that were learned from enough readings or adjustments of a kind."""
    found: dict[str, dict[str, float]] = {name: {} for name in GROUPS}
    for row in session.scalars(select(LearnedMinutes).where(LearnedMinutes.count >= LEAST_SAMPLES)):
        found[row.group][row.name] = row.minutes
    return found


def minutes_told(session: Session, stored: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Tell of each reading and adjustment where its minutes come from: own, learned or usual."""
    rows = {(row.group, row.name): row for row in session.scalars(select(LearnedMinutes))}
    now = prices_of(stored, learned_minutes(session))
    told = []
    for group in GROUPS:
        for name, usual in getattr(Prices(), group).items():
            learned, own = rows.get((group, name)), stored.get(group, {}).get(name)
            enough = learned is not None and learned.count >= LEAST_SAMPLES
            told.append(
                {
                    "of": group,
                    "name": name,
                    "minutes": getattr(now, group)[name],
                    "source": "own" if own is not None else "learned" if enough else "usual",
                    "usual": usual,
                    "learned": None if learned is None else learned.minutes,
                    "count": 0 if learned is None else learned.count,
                    "own": own,
                }
            )
    return told


def prices_of(stored: Mapping[str, Any], learned: Minutes | None = None) -> Prices:
    """Return whole prices: what is stored, else what was learned, else what is usual."""
    usual, learned = Prices(), learned or {}
    groups = {
        name: {**getattr(usual, name), **learned.get(name, {}), **stored.get(name, {})} for name in GROUPS
    }
    return replace(usual, **{**stored, **groups})


def plan_settings(shop: Shop, learned: Minutes | None = None) -> Settings:
    """Return a shop's settings as its plans take them, with the minutes that were learned."""
    return Settings(
        settle_minutes=float(shop.settle_first_minutes),
        humidity_low=shop.humidity_low,
        humidity_high=shop.humidity_high,
        everything_at_the_end=shop.everything_at_the_end,
        prices=prices_of(shop.prices, learned),
    )

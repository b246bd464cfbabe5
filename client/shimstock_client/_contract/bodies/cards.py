"""Bodies and filters of cards, made by client/generate.py: do not edit."""

from __future__ import annotations

from typing import NotRequired, TypedDict


class CardLinkIn(TypedDict):
    """A dictionary as it travels."""

    days: NotRequired[int]

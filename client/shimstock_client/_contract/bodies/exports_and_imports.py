"""Bodies and filters of exports and imports, made by client/generate.py: do not edit."""

from __future__ import annotations

from typing import NotRequired, TypedDict


class EarlierReadingsIn(TypedDict):
    """A dictionary as it travels."""

    csv: str
    dry_run: NotRequired[bool]

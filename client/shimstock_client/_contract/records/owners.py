"""Records of owners, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from ..._wire import UNKNOWN, Stored
from ..words import Units


@dataclass(kw_only=True, repr=False, eq=False)
class Owner(Stored):
    """Who an instrument belongs to."""

    email: str | None = None
    erased_at: datetime | None = None
    language: str = ""
    name: str | None = None
    note: str | None = None
    phone: str | None = None
    units: Units = UNKNOWN

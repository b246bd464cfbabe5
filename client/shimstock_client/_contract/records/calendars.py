"""Records of calendars, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ..._wire import Stored
from ..words import ReminderKind


@dataclass(kw_only=True, repr=False, eq=False)
class Calendar(Stored):
    """A calendar for calendar programs; its path is shown once, in the answer that makes it."""

    kinds: list[ReminderKind] = field(default_factory=list)
    name: str = ""
    owner_id: str | None = None
    path: str | None = field(default=None, repr=False)
    """Where it is; null but in the answer that makes it."""
    revoked_at: datetime | None = None

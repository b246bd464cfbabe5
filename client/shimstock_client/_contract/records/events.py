"""Records of events, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from ..._wire import Record, Stored
from .webhooks import EventObject


@dataclass(kw_only=True, repr=False, eq=False)
class Event(Stored):
    """Something that happened, out of a webhook or the feed."""

    data: dict[str, Any] = field(default_factory=dict)
    object: EventObject = field(default_factory=EventObject)
    timestamp: datetime | None = None
    """When it happened."""
    type: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class Events(Record):
    """A page of the feed."""

    cursor: str = ""
    """Where to go on later: keep it, and ask again with it."""
    items: list[Event] = field(default_factory=list)
    next: str | None = None
    """The cursor of the next page; null when nothing more has happened."""

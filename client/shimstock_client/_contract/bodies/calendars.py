"""Bodies and filters of calendars, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._writes import CallOptions
from ..words import ReminderKind


class CalendarIn(TypedDict):
    """A dictionary as it travels."""

    kinds: NotRequired[Sequence[ReminderKind]]
    name: str
    owner_id: NotRequired[UUID | str | None]


class CalendarsFilters(CallOptions, total=False):
    """What `/v1/calendars` can be asked for."""

    limit: int | None

"""Bodies and filters of reminders, made by client/generate.py: do not edit."""

from __future__ import annotations

from datetime import datetime
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._writes import CallOptions
from ..words import ReminderAnswer, ReminderKind, ReminderState


class ReminderAnswerIn(TypedDict):
    """A dictionary as it travels."""

    answer: ReminderAnswer
    note: NotRequired[str | None]
    sheet_id: NotRequired[UUID | str | None]
    until: NotRequired[datetime | str | None]


class RemindersFilters(CallOptions, total=False):
    """What `/v1/reminders` can be asked for."""

    limit: int | None
    kind: ReminderKind | None
    state: ReminderState | None
    due: bool | None
    due_before: datetime | str | None
    instrument_id: UUID | str | None
    owner_id: UUID | str | None
    closed: bool | None

"""Records of reminders, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from ..._wire import UNKNOWN, Record, Stored
from ..words import ReminderEventWhat, ReminderKind, ReminderState


@dataclass(kw_only=True, repr=False, eq=False)
class Reminder(Stored):
    """A reminder to look at an instrument again."""

    all_day: bool = False
    closed_at: datetime | None = None
    due: bool = False
    due_at: datetime | None = None
    due_on: date | None = None
    """The same in the shop's zone."""
    instrument: str = ""
    """Maker and model, for a list."""
    instrument_id: str = ""
    job_id: str | None = None
    job_number: int | None = None
    kind: ReminderKind = UNKNOWN
    owner_id: str = ""
    probability_out: float | None = None
    sentence: str = ""
    serial: str | None = None
    sheet_id: str | None = None
    snoozed_until: datetime | None = None
    state: ReminderState = UNKNOWN


@dataclass(kw_only=True, repr=False, eq=False)
class ReminderEvent(Record):
    """What happened to a reminder."""

    at: datetime | None = None
    due_at: datetime | None = None
    note: str | None = None
    sequence: int = 0
    technician_id: str | None = None
    what: ReminderEventWhat = UNKNOWN

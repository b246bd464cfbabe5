"""Bodies and filters of absences, made by client/generate.py: do not edit."""

from __future__ import annotations

from datetime import date
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._writes import CallOptions, WriteOptions


class AbsenceIn(TypedDict):
    """A dictionary as it travels."""

    ends: NotRequired[str | None]
    first: date | str
    last: date | str
    starts: NotRequired[str | None]
    technician_id: UUID | str


class AbsencesFilters(CallOptions, total=False):
    """What `/v1/absences` can be asked for."""

    limit: int | None
    technician_id: UUID | str | None
    first: date | str | None
    last: date | str | None


class AbsenceFields(WriteOptions):
    """A dictionary as it travels."""

    ends: NotRequired[str | None]
    starts: NotRequired[str | None]

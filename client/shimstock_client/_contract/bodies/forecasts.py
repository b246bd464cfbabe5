"""Bodies and filters of forecasts, made by client/generate.py: do not edit."""

from __future__ import annotations

from typing import NotRequired, TypedDict
from uuid import UUID

from ..._writes import CallOptions, WriteOptions
from ..words import AnsweringOf


class KeepingIn(TypedDict):
    """A dictionary as it travels."""

    climate_id: NotRequired[UUID | str | None]
    hours_per_week: NotRequired[float | None]
    reminders: NotRequired[bool]
    room_id: NotRequired[UUID | str | None]


class InstrumentsForecastFilters(CallOptions, total=False):
    """What `/v1/instruments/{instrument_id}/forecast` can be asked for."""

    step: int | None
    width: int | None


class SensitivitiesFilters(CallOptions, total=False):
    """What `/v1/sensitivities` can be asked for."""

    limit: int | None
    of: AnsweringOf | None


class KeepingFields(WriteOptions):
    """A dictionary as it travels."""

    climate_id: NotRequired[UUID | str | None]
    hours_per_week: NotRequired[float | None]
    reminders: NotRequired[bool]
    room_id: NotRequired[UUID | str | None]

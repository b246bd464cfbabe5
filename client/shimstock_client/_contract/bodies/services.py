"""Bodies and filters of services, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._writes import CallOptions
from ..words import InstrumentKind, Skill


class ServiceIn(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    ahead_days: NotRequired[int]
    bench_minutes: int
    description: NotRequired[str | None]
    kinds: NotRequired[Sequence[InstrumentKind]]
    lead_days: NotRequired[int]
    name: str
    notice_minutes: NotRequired[int]
    places: NotRequired[int]
    places_per_day: NotRequired[int | None]
    price: NotRequired[float | None]
    price_from: NotRequired[bool]
    skills: NotRequired[Sequence[Skill]]
    step_minutes: NotRequired[int]


class ServiceChange(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    ahead_days: NotRequired[int]
    bench_minutes: NotRequired[int]
    description: NotRequired[str | None]
    kinds: NotRequired[Sequence[InstrumentKind]]
    lead_days: NotRequired[int]
    name: NotRequired[str]
    notice_minutes: NotRequired[int]
    places: NotRequired[int]
    places_per_day: NotRequired[int | None]
    price: NotRequired[float | None]
    price_from: NotRequired[bool]
    skills: NotRequired[Sequence[Skill]]
    step_minutes: NotRequired[int]


class AvailabilityFilters(CallOptions, total=False):
    """What `/v1/availability` can be asked for."""

    service_id: UUID | str | None
    first: date | str | None
    last: date | str | None


class ServicesFilters(CallOptions, total=False):
    """What `/v1/services` can be asked for."""

    limit: int | None
    active: bool | None

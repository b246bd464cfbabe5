"""Bodies and filters of jobs, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions
from ..words import ConsentHow, ConsentStep, JobInState, JobLook, JobState, Skill, WaitingFor


class ConsentIn(TypedDict):
    """A dictionary as it travels."""

    covers: ConsentStep
    given: bool
    given_at: NotRequired[datetime | str | None]
    given_by: str
    how: ConsentHow
    note: NotRequired[str | None]


class RoomIn(TypedDict):
    """A dictionary as it travels."""

    relative_humidity: Quantity | QuantityDict
    temperature: Quantity | QuantityDict


class WantsIn(TypedDict):
    """A dictionary as it travels."""

    note: NotRequired[str | None]
    playing_style: NotRequired[str | None]
    restring: NotRequired[bool]
    string_set_id: NotRequired[UUID | str | None]
    tuning_id: NotRequired[UUID | str | None]


class JobIn(TypedDict):
    """A dictionary as it travels."""

    complaints: NotRequired[str | None]
    condition: NotRequired[str | None]
    consents: NotRequired[Sequence[ConsentIn]]
    estimated_minutes: NotRequired[int | None]
    follows_id: NotRequired[UUID | str | None]
    instrument_id: NotRequired[UUID | str | None]
    owner_id: NotRequired[UUID | str | None]
    priority: NotRequired[int]
    promised_on: NotRequired[date | str | None]
    room: NotRequired[RoomIn | None]
    services: NotRequired[Sequence[str]]
    skills: NotRequired[Sequence[Skill]]
    state: NotRequired[JobInState]
    wants: NotRequired[WantsIn]


class ClaimNextIn(TypedDict):
    """A dictionary as it travels."""


class JobPatch(TypedDict):
    """A dictionary as it travels."""

    complaints: NotRequired[str | None]
    condition: NotRequired[str | None]
    estimated_minutes: NotRequired[int | None]
    instrument_id: NotRequired[UUID | str]
    owner_id: NotRequired[UUID | str]
    priority: NotRequired[int]
    promised_on: NotRequired[date | str | None]
    room: NotRequired[RoomIn | None]
    services: NotRequired[Sequence[str]]
    skills: NotRequired[Sequence[Skill]]
    wants: NotRequired[WantsIn]


class ClaimIn(TypedDict):
    """A dictionary as it travels."""

    reason: NotRequired[str | None]
    take_over: NotRequired[bool]


class WithdrawalIn(TypedDict):
    """A dictionary as it travels."""

    reason: NotRequired[str | None]


class HandoverIn(TypedDict):
    """A dictionary as it travels."""

    bench_id: NotRequired[UUID | str | None]
    claim: UUID | str
    note: NotRequired[str | None]
    technician_id: UUID | str


class MoveIn(TypedDict):
    """A dictionary as it travels."""

    available_at: NotRequired[datetime | str | None]
    claim: NotRequired[UUID | str | None]
    look: NotRequired[JobLook | None]
    minutes: NotRequired[int | None]
    reason: NotRequired[str | None]
    to: JobState
    waiting_for: NotRequired[WaitingFor | None]


class JobPartIn(TypedDict):
    """A dictionary as it travels."""

    name: str
    price: NotRequired[float | None]
    quantity: NotRequired[float]
    string_set_id: NotRequired[UUID | str | None]


class QuoteIn(TypedDict):
    """A dictionary as it travels."""

    amount: float
    currency: NotRequired[str | None]
    work: str


class QuotePatch(TypedDict):
    """A dictionary as it travels."""

    answered_how: ConsentHow
    approved: bool


class SpecRenewalIn(TypedDict):
    """A dictionary as it travels."""

    reason: str


class JobsFilters(CallOptions, total=False):
    """What `/v1/jobs` can be asked for."""

    limit: int | None
    state: JobState | None
    instrument_id: UUID | str | None
    owner_id: UUID | str | None
    number: int | None

"""Records of jobs, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TypedDict

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored, empty
from ..words import ConsentHow, ConsentStep, JobLook, JobState, LookOutcome, QuantityName, Skill, WaitingFor


@dataclass(kw_only=True, repr=False, eq=False)
class AllowedMove(Record):
    """A state that a job may go to, and what that needs."""

    needs: list[str] = field(default_factory=list)
    """claim, new-claim, instrument, reason, available-at, waiting-for, final-readings-or-reason, give-back"""
    to: JobState = UNKNOWN


@dataclass(kw_only=True, repr=False, eq=False)
class Claim(Stored):
    """Who holds a job, at which bench, since when."""

    bench_id: str | None = None
    last_act_at: datetime | None = None
    since: datetime | None = None
    stale: bool = False
    """Its last act lies before the shop last opened."""
    technician: str = ""
    technician_id: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class RoomTyped(Record):
    """The quantities of a room's air as they were typed."""

    relative_humidity: Quantity | None = None
    temperature: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class RoomAir(Record):
    """Temperature and humidity of a room."""

    relative_humidity: Quantity | None = None
    temperature: Quantity | None = None
    typed: RoomTyped = field(default_factory=RoomTyped)


class Wants(TypedDict):
    """A dictionary as it travels."""

    note: str | None
    playing_style: str | None
    restring: bool
    string_set_id: str | None
    tuning_id: str | None


@dataclass(kw_only=True, repr=False, eq=False)
class Job(Stored):
    """A work order for one instrument."""

    allowed_moves: list[AllowedMove] = field(default_factory=list)
    available_at: datetime | None = None
    claim: Claim | None = None
    complaints: str | None = None
    condition: str | None = None
    due: bool = False
    """It settles, and can be looked at again now."""
    estimated_minutes: int | None = None
    follows_id: str | None = None
    instrument_id: str | None = None
    last_technician_id: str | None = None
    late_minutes: int | None = None
    """How late that look is or was; hours in which the shop is shut do not count."""
    look: JobLook | None = None
    """Which look at the neck the job settles for, or came back onto a bench for."""
    number: int = 0
    owner_id: str | None = None
    priority: int = 0
    promised_on: date | None = None
    queued_at: datetime | None = None
    readings_asked: list[QuantityName] = field(default_factory=list)
    """What that look is for and has not been read since the job was put to rest."""
    room: RoomAir | None = None
    services: list[str] = field(default_factory=list)
    skills: list[Skill] = field(default_factory=list)
    state: JobState = UNKNOWN
    waiting_for: WaitingFor | None = None
    wants: Wants = field(default_factory=empty)
    worked_minutes: int = 0


@dataclass(kw_only=True, repr=False, eq=False)
class PastClaim(Stored):
    """A claim of a job, past or present."""

    bench_id: str | None = None
    end_reason: str | None = None
    """given-back, handed-over, taken-over, or the state the job left the bench for."""
    ended_at: datetime | None = None
    last_act_at: datetime | None = None
    note: str | None = None
    since: datetime | None = None
    technician: str = ""
    technician_id: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class Consent(Stored):
    """The owner's yes or no to what cannot be undone."""

    covers: ConsentStep = UNKNOWN
    given: bool = False
    given_at: datetime | None = None
    given_by: str = ""
    how: ConsentHow = UNKNOWN
    job_id: str = ""
    note: str | None = None
    withdrawn_at: datetime | None = None
    withdrawn_reason: str | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class Look(Record):
    """A look at a settling neck."""

    available_at: datetime | None = None
    late_minutes: int = 0
    look: JobLook | None = None
    outcome: LookOutcome = UNKNOWN
    """settling: not due yet; due: nobody has looked; on-bench: claimed, not read yet; read; early: read
    before it was due; skipped: the job went on without.
    """
    read_at: datetime | None = None
    """When relief was first read, at pitch, before the next rest."""
    readings_asked: list[QuantityName] = field(default_factory=list)
    rested_from: datetime | None = None
    sequence: int | None = None
    """The move that put the job to rest; null for a next-day look nobody asked for."""
    taken_at: datetime | None = None
    """When the job was next claimed."""


@dataclass(kw_only=True, repr=False, eq=False)
class Move(Stored):
    """One move of a job from a state to the next."""

    available_at: datetime | None = None
    claim_id: str | None = None
    from_state: JobState | None = None
    look: JobLook | None = None
    readings_asked: list[QuantityName] | None = None
    reason: str | None = None
    sequence: int = 0
    technician_id: str | None = None
    to_state: JobState = UNKNOWN
    waiting_for: WaitingFor | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class PartUsed(Stored):
    """A part used on a job."""

    job_id: str = ""
    name: str = ""
    price: float | None = None
    quantity: float = 0.0
    string_set_id: str | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class Quote(Stored):
    """What a setup cannot cure, with a price, and the owner's answer."""

    amount: float = 0.0
    answered_at: datetime | None = None
    answered_how: ConsentHow | None = None
    approved: bool | None = None
    currency: str = ""
    job_id: str = ""
    work: str = ""

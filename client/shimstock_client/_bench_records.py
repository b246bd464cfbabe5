"""What the service answers with, as typed records of jobs and of the work at a bench."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from ._plan_records import Believed, Surprise
from ._quantity import Quantity
from ._records import Stored
from ._wire import Record


@dataclass(kw_only=True)
class AllowedMove(Record):
    """A state that a job may go to, and what that needs."""

    to: str = ""
    needs: list[str] = field(default_factory=list)


@dataclass(kw_only=True)
class Claim(Record):
    """Who holds a job, at which bench, since when."""

    id: str = ""
    technician_id: str | None = None
    technician: str | None = None
    bench_id: str | None = None
    since: datetime | None = None
    last_act_at: datetime | None = None
    stale: bool = False


@dataclass(kw_only=True)
class RoomAir(Record):
    """Temperature and humidity of a room."""

    temperature: Quantity | None = None
    relative_humidity: Quantity | None = None


@dataclass(kw_only=True)
class Job(Stored):
    """A work order for one instrument."""

    number: int | None = None
    state: str = ""
    waiting_for: str | None = None
    available_at: datetime | None = None
    queued_at: datetime | None = None
    instrument_id: str | None = None
    owner_id: str | None = None
    follows_id: str | None = None
    priority: int | None = None
    promised_on: date | None = None
    complaints: str | None = None
    condition: str | None = None
    wants: dict[str, Any] = field(default_factory=dict)
    room: RoomAir | None = None
    skills: list[str] = field(default_factory=list)
    services: list[str] = field(default_factory=list)
    estimated_minutes: int | None = None
    worked_minutes: int | None = None
    last_technician_id: str | None = None
    allowed_moves: list[AllowedMove] = field(default_factory=list)
    claim: Claim | None = None
    due: bool = False
    """It settles, and can be looked at again now."""


@dataclass(kw_only=True)
class Move(Stored):
    """One move of a job from a state to the next."""

    sequence: int = 0
    from_state: str | None = None
    to_state: str = ""
    waiting_for: str | None = None
    available_at: datetime | None = None
    reason: str | None = None
    claim_id: str | None = None
    technician_id: str | None = None


@dataclass(kw_only=True)
class Consent(Stored):
    """The owner's yes or no to what cannot be undone."""

    covers: str = ""
    given: bool = False
    given_by: str = ""
    how: str = ""
    note: str | None = None
    given_at: datetime | None = None
    withdrawn_at: datetime | None = None
    withdrawn_reason: str | None = None


@dataclass(kw_only=True)
class Quote(Stored):
    """What a setup cannot cure, with a price, and the owner's answer."""

    work: str = ""
    amount: float | None = None
    currency: str | None = None
    approved: bool | None = None
    answered_at: datetime | None = None
    answered_how: str | None = None


@dataclass(kw_only=True)
class PartUsed(Stored):
    """A part used on a job."""

    name: str = ""
    quantity: float | None = None
    price: float | None = None
    string_set_id: str | None = None


@dataclass(frozen=True, kw_only=True)
class NewReading:
    """A reading to send. Frets, hold and method that are left out are filled in from the spec."""

    quantity: str
    value: Quantity | None = None
    zero_or_less: bool | None = None
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    fret: int | None = None
    held: Sequence[int] | None = None
    capo: int | None = None
    method: str | None = None
    tool_id: str | None = None
    confirmed: bool | None = None
    accepted: bool | None = None
    note: str | None = None


@dataclass(frozen=True, kw_only=True)
class NewFinding:
    """Something seen while looking over the instrument."""

    code: str
    fret: int | None = None
    string: int | None = None
    note: str | None = None


@dataclass(kw_only=True)
class Reading(Record):
    """A reading as it is kept: as typed, and in the units asked for."""

    number: int | None = None
    sheet_id: str | None = None
    stage: str | None = None
    at_pitch: bool | None = None
    taken_at: datetime | None = None
    quantity: str = ""
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    value: Quantity | None = None
    typed: Quantity | None = None
    zero_or_less: bool = False
    fret: int | None = None
    held: list[int] = field(default_factory=list)
    capo: int | None = None
    method: str | None = None
    tool_id: str | None = None
    tool_name: str | None = None
    resolution: Quantity | None = None
    repeatability: Quantity | None = None
    repeatability_source: str | None = None
    confirmed: bool = False
    accepted: bool = False
    note: str | None = None


@dataclass(kw_only=True)
class ToolDrift(Record):
    """A tool of a bench that was out of its limits when its check piece was last read."""

    check_piece_id: str = ""
    check_piece: str = ""
    tool_id: str | None = None
    tool: str | None = None
    quantity: str = ""
    verdict: str = ""
    mean: Quantity | None = None
    deviation: Quantity | None = None
    limit: Quantity | None = None
    beyond: Quantity | None = None
    since: str | None = None
    checked_at: datetime | None = None
    text: str = ""


@dataclass(kw_only=True)
class ReadingSheet(Stored):
    """Readings taken at one bench, by one technician, at one time, in one condition."""

    job_id: str | None = None
    stage: str = ""
    taken_at: datetime | None = None
    received_at: datetime | None = None
    bench_id: str | None = None
    technician_id: str | None = None
    outside_claim: bool = False
    position: str = ""
    at_pitch: bool | None = None
    acclimatised: bool | None = None
    room: RoomAir | None = None
    string_set_id: str | None = None
    findings: list[dict[str, Any]] = field(default_factory=list)
    looked_over: bool | None = None
    note: str | None = None
    supersedes: str | None = None
    supersedes_reason: str | None = None
    superseded_by: str | None = None
    readings: list[Reading] = field(default_factory=list)
    surprises: list[Surprise] = field(default_factory=list)
    """Readings of it that did not fit the job's others when it was sent."""
    drifts: list[ToolDrift] = field(default_factory=list)
    """Tools of it that were out of their limits when the bench last read their check piece."""


@dataclass(kw_only=True)
class Adjustment(Stored):
    """What was done."""

    job_id: str | None = None
    claim_id: str | None = None
    done_at: datetime | None = None
    received_at: datetime | None = None
    part: str = ""
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    turns: Quantity | None = None
    amount: Quantity | None = None
    large_turn: bool = False
    plan: str | None = None
    plan_kept: bool = False
    """The plan was the job's newest, and is kept as it was shown."""
    string_set_id: str | None = None
    tuning_id: str | None = None
    consent_id: str | None = None
    minutes: int | None = None
    note: str | None = None


@dataclass(kw_only=True)
class SettlingJob(Record):
    """A job that rests until its neck has settled."""

    job_id: str = ""
    number: int | None = None
    available_at: datetime | None = None
    due: bool = False
    late_minutes: int | None = None
    last_technician_id: str | None = None
    instrument_id: str | None = None


@dataclass(kw_only=True)
class CardLook(Record):
    """What was read, converted to the spec's frets, and its verdict."""

    value: Quantity | None = None
    uncertainty: Quantity | None = None
    probability: float | None = None
    verdict: str | None = None
    zero_or_less: bool = False
    accepted: bool = False
    stale: bool = False
    reason: str | None = None
    read_on: date | None = None
    now: Believed | None = None
    """What all of the job says of the quantity; `value` is what the tool showed."""
    tomorrow: Believed | None = None


@dataclass(kw_only=True)
class CardQuantity(Record):
    """One item of the setup spec with its reading before and after."""

    quantity: str = ""
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    fret: int | None = None
    held: list[int] = field(default_factory=list)
    name: str = ""
    """What is read, and where, in words of the card's language."""
    target: Quantity | None = None
    lower: Quantity | None = None
    upper: Quantity | None = None
    source: str | None = None
    before: CardLook | None = None
    after: CardLook | None = None


@dataclass(kw_only=True)
class Card(Record):
    """Before and after of a job, in the owner's units and language; days and shop in `raw`."""

    job: dict[str, Any] = field(default_factory=dict)
    shop: dict[str, Any] = field(default_factory=dict)
    instrument: dict[str, Any] = field(default_factory=dict)
    language: str = ""
    summary: str = ""
    quantities: list[CardQuantity] = field(default_factory=list)
    offsets: list[str] = field(default_factory=list)
    """Benches whose tools read too high or too low: numbers are as read, verdicts allow for it."""
    done: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    """What is not in spec, not read or out of reach, and why."""
    refused: list[str] = field(default_factory=list)
    next_look: list[str] = field(default_factory=list)
    cautions: list[dict[str, Any]] = field(default_factory=list)
    picture: str | None = field(default=None, repr=False)
    """SVG: the neck from the side."""
    judgement: str = ""

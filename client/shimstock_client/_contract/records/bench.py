"""Records of bench, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TypedDict

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored, empty
from ..words import (
    AdjustmentPart,
    ConsentStep,
    FindingCode,
    MeantCode,
    NeedsConsent,
    PlanSettlingState,
    Position,
    QuantityName,
    ReadingMethod,
    Side,
    SlipCode,
    Stage,
    StepKind,
)
from .jobs import RoomAir


@dataclass(kw_only=True, repr=False, eq=False)
class AdjustmentTyped(Record):
    """The quantities of an adjustment as they were typed."""

    amount: Quantity | None = None
    turns: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class AdjustmentWithdrawal(Record):
    """`AdjustmentWithdrawalOut` of the document."""

    reason: str = ""
    replaced_by_id: str | None = None
    """What was done instead; null when nothing was."""
    technician_id: str | None = None
    withdrawn_at: datetime | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class Adjustment(Stored):
    """An adjustment that was recorded."""

    amount: Quantity | None = None
    bench_id: str | None = None
    claim_id: str = ""
    consent_id: str | None = None
    """The owner's yes that covered it; null for what can be undone."""
    done_at: datetime | None = None
    job_id: str = ""
    large_turn: bool = False
    """More than a quarter turn of the rod at once."""
    minutes: int | None = None
    note: str | None = None
    part: AdjustmentPart = UNKNOWN
    pickup: str | None = None
    plan: str | None = None
    plan_kept: bool = False
    """The plan was the job's newest, and is kept as it was shown."""
    received_at: datetime | None = None
    side: Side | None = None
    string: int | None = None
    string_set_id: str | None = None
    supersedes: str | None = None
    """The adjustment that this one corrects."""
    technician_id: str | None = None
    tuning_id: str | None = None
    turns: Quantity | None = None
    typed: AdjustmentTyped = field(default_factory=AdjustmentTyped)
    withdrawn: AdjustmentWithdrawal | None = None
    """Why it counts no more; null while it does."""


@dataclass(kw_only=True, repr=False, eq=False)
class ToolDrift(Record):
    """`ToolDriftOut` of the document."""

    beyond: Quantity | None = None
    """How far it was beyond that limit."""
    check_piece: str = ""
    check_piece_id: str = ""
    checked_at: datetime | None = None
    deviation: Quantity | None = None
    limit: Quantity | None = None
    """Of the mean, or of the deviation where it repeats badly."""
    mean: Quantity | None = None
    quantity: QuantityName = UNKNOWN
    since: date | None = None
    """Day of the first check since which it is out."""
    text: str = ""
    tool: str | None = None
    tool_id: str | None = None
    verdict: str = ""


class Finding(TypedDict):
    """A dictionary as it travels."""

    code: FindingCode
    fret: int | None
    note: str | None
    string: int | None


@dataclass(kw_only=True, repr=False, eq=False)
class Reading(Record):
    """A stored reading: as typed, and in the units asked for."""

    accepted: bool = False
    """Left as it was read, by the technician's decision; the note says why."""
    capo: int | None = None
    confirmed: bool = False
    """Looked at twice."""
    fret: int | None = None
    held: list[int] = field(default_factory=list)
    method: ReadingMethod | None = None
    note: str | None = None
    number: int = 0
    """Its place on the sheet, from 0."""
    pickup: str | None = None
    quantity: QuantityName = UNKNOWN
    repeatability: Quantity | None = None
    repeatability_source: str | None = None
    """Where it was learned; null where it is the tool's own."""
    resolution: Quantity | None = None
    side: Side | None = None
    string: int | None = None
    tool_id: str | None = None
    tool_name: str | None = None
    typed: Quantity | None = None
    value: Quantity | None = None
    zero_or_less: bool = False
    """The string touched: the value 0 stands for nothing."""
    at_pitch: bool | None = None
    sheet_id: str | None = None
    stage: Stage | None = None
    taken_at: datetime | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class Shown(Record):
    """What a tool should show, with its standard deviation."""

    uncertainty: Quantity | None = None
    """Standard deviation, the tool's own noise included."""
    value: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class Meant(Record):
    """The slip of the hand that would explain a reading, and what was meant then."""

    code: MeantCode = UNKNOWN
    """The unit was mistaken; a neighbour string or the other side was read; a digit was swapped or left
    out, or the sign.
    """
    text: str = ""
    value: Quantity | None = None


class ReadingRef(TypedDict):
    """A dictionary as it travels."""

    number: int | None
    sheet_id: str | None


@dataclass(kw_only=True, repr=False, eq=False)
class OtherReading(Record):
    """The reading that a surprising one contradicts."""

    pickup: str | None = None
    quantity: QuantityName = UNKNOWN
    reading: ReadingRef = field(default_factory=empty)
    side: Side | None = None
    string: int | None = None
    value: Quantity | None = None
    """null: the string touched."""


@dataclass(kw_only=True, repr=False, eq=False)
class Slip(Record):
    """What may be behind a reading that does not fit, with its chance."""

    code: SlipCode = UNKNOWN
    """This reading is wrong, another one is, something moved that was not recorded, or nothing is wrong."""
    probability: float = 0.0
    """All of them add up to one."""
    reading: ReadingRef | None = None
    """The one that would be wrong."""


@dataclass(kw_only=True, repr=False, eq=False)
class Surprise(Record):
    """A reading that does not fit the job's others."""

    expected: Shown | None = None
    """null: it contradicts readings of other quantities."""
    meant: Meant | None = None
    open: bool = False
    """It is read again before any further step; a reading with `confirmed` is not."""
    other: OtherReading | None = None
    pickup: str | None = None
    quantity: QuantityName = UNKNOWN
    reading: ReadingRef = field(default_factory=empty)
    set_aside: ReadingRef | None = None
    """The reading that counts no more; null: every one counts."""
    side: Side | None = None
    slips: list[Slip] = field(default_factory=list)
    string: int | None = None
    text: str = ""
    value: Quantity | None = None
    """0 also where the string touched."""


@dataclass(kw_only=True, repr=False, eq=False)
class ReadingSheet(Stored):
    """Readings taken at one bench, by one technician, at one time, in one condition."""

    acclimatised: bool = False
    at_pitch: bool = False
    bench_id: str | None = None
    drifts: list[ToolDrift] = field(default_factory=list)
    """Tools of this sheet that were out of their limits at their last check."""
    findings: list[Finding] = field(default_factory=list)
    job_id: str = ""
    looked_over: bool = False
    note: str | None = None
    outside_claim: bool = False
    """Posted by somebody who did not hold the job."""
    position: Position = UNKNOWN
    readings: list[Reading] = field(default_factory=list)
    received_at: datetime | None = None
    room: RoomAir | None = None
    stage: Stage = UNKNOWN
    string_set_id: str | None = None
    superseded_by: str | None = None
    supersedes: str | None = None
    supersedes_reason: str | None = None
    surprises: list[Surprise] = field(default_factory=list)
    """Readings of this sheet that do not fit the job's others; empty also where nothing can be said yet."""
    taken_at: datetime | None = None
    technician_id: str | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class RodResponse(Record):
    """How far relief follows a turn of the rod."""

    mean: Quantity | None = None
    samples: int = 0
    sd: Quantity | None = None
    source: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class PlanSpecItem(Record):
    """An item of the setup spec that a plan reckons with."""

    fret: int | None = None
    held: list[int] = field(default_factory=list)
    lower: Quantity | None = None
    pickup: str | None = None
    quantity: QuantityName = UNKNOWN
    side: Side | None = None
    source: str = ""
    string: int | None = None
    target: Quantity | None = None
    upper: Quantity | None = None


class PlanInputs(TypedDict):
    """A dictionary as it travels."""

    adjustments: list[str]
    consents: list[str]
    coupling_sd: float
    readings: list[str]
    restring_wanted: bool
    rod_response: RodResponse
    spec: list[PlanSpecItem]


@dataclass(kw_only=True, repr=False, eq=False)
class Worth(Record):
    """Bench minutes that something saves on average, and that it costs."""

    costs: Quantity | None = None
    saves: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class NotAsked(Record):
    """A quantity in some doubt of which no reading is worth its minutes."""

    pickup: str | None = None
    probability: float = 0.0
    """That it will be in spec tomorrow."""
    quantity: QuantityName = UNKNOWN
    side: Side | None = None
    string: int | None = None
    worth: Worth | None = None
    """Of another reading; null: it is as good as surely in spec."""


@dataclass(kw_only=True, repr=False, eq=False)
class Coded(Record):
    """A text with a stable code: a caution, or what blocks a step."""

    code: str = ""
    text: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class Note(Coded):
    """Something said plainly, with the alternatives."""

    alternatives: list[str] = field(default_factory=list)
    quote: bool = False
    """The alternatives go beyond a setup: quote them."""


@dataclass(kw_only=True, repr=False, eq=False)
class ReadingWanted(Record):
    """A reading to take."""

    expected_now: Shown | None = None
    """What the tool should show at once after a step to do now, before the neck has come to rest; the
    changes of a step are values at rest. null: not known, or no such step.
    """
    finest: bool = False
    """With the finest tool at hand, not the usual one."""
    fret: int | None = None
    held: list[int] = field(default_factory=list)
    method: str | None = None
    pickup: str | None = None
    quantity: QuantityName = UNKNOWN
    side: Side | None = None
    string: int | None = None
    why: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class PlanSettling(Record):
    """Whether relief has settled."""

    reason: str | None = None
    state: PlanSettlingState = UNKNOWN


@dataclass(kw_only=True, repr=False, eq=False)
class StateNumber(Record):
    """One number that the plan reckons with."""

    mean: float = 0.0
    name: str = ""
    """What it means, in words."""
    uncertainty: float = 0.0
    """Standard deviation; 100 mm or 10000 cents: not known."""
    unit: str = ""
    """mm, cents, mm/turn or mm/mm, always."""


@dataclass(kw_only=True, repr=False, eq=False)
class PlanState(Record):
    """All that is believed of the instrument, as numbers that are normal together."""

    correlations: list[list[float]] = field(default_factory=list)
    """For each number its correlations with those before it, in their order."""
    numbers: list[StateNumber] = field(default_factory=list)
    time: datetime | None = None
    """That of the newest entry."""


@dataclass(kw_only=True, repr=False, eq=False)
class Change(Record):
    """What a step does to one quantity."""

    after: Quantity | None = None
    before: Quantity | None = None
    lower: Quantity | None = None
    pickup: str | None = None
    quantity: QuantityName = UNKNOWN
    side: Side | None = None
    string: int | None = None
    target: Quantity | None = None
    uncertainty: Quantity | None = None
    upper: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class PartMove(Record):
    """One part to turn, file, shim or shift."""

    amount: Quantity | None = None
    direction: str = ""
    part: AdjustmentPart = UNKNOWN
    pickup: str | None = None
    seen: str = ""
    """Which way it turns, and seen from where."""
    side: Side | None = None
    string: int | None = None
    total_turns: Quantity | None = None
    turns: Quantity | None = None
    wanted: Quantity | None = None
    """Unrounded, before limits."""


@dataclass(kw_only=True, repr=False, eq=False)
class Step(Record):
    """One step of a plan."""

    blocked_by: list[Coded] = field(default_factory=list)
    """What it waits for; empty: nothing."""
    cautions: list[Coded] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    changes_instrument: bool = False
    confidence: str | None = None
    consent_step: ConsentStep | None = None
    """What a consent for it has to name."""
    do_now: bool = False
    """To be done now; steps that change something later are forecasts."""
    forecasts: list[Change] = field(default_factory=list)
    irreversible: bool = False
    """It cannot be undone."""
    kind: StepKind = UNKNOWN
    moves: list[PartMove] = field(default_factory=list)
    needs_consent: NeedsConsent | None = None
    """The least consent that covers it: a general one, or one that names it."""
    number: int = 0
    part: AdjustmentPart | None = None
    probability: float | None = None
    readings_next: list[ReadingWanted] = field(default_factory=list)
    total: list[Change] = field(default_factory=list)
    total_forecasts: list[Change] = field(default_factory=list)
    what: str = ""
    why: str | None = None
    worth: Worth | None = None
    """Why it is a step, for the quantity that gains most; null: a rule asks for it, or what a step before
    it changes.
    """


@dataclass(kw_only=True, repr=False, eq=False)
class Believed(Record):
    """What all of the job together says of one quantity."""

    probability: float = 0.0
    """That the true value lies inside the limits."""
    uncertainty: Quantity | None = None
    """Standard deviation of the value."""
    value: Quantity | None = None

"""Records of bench 2, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ..._extras import HasSteps
from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, empty
from ..words import QuantityName, Side, VerdictWord
from .bench import (
    Believed,
    NotAsked,
    Note,
    PlanInputs,
    PlanSettling,
    PlanState,
    ReadingRef,
    ReadingWanted,
    Step,
    Surprise,
)


@dataclass(kw_only=True, repr=False, eq=False)
class Verdict(Record):
    """One item of the spec against its newest reading."""

    accepted: bool = False
    """The technician left it so: nothing is planned for it, the verdict stays."""
    fret: int | None = None
    held: list[int] = field(default_factory=list)
    lower: Quantity | None = None
    now: Believed | None = None
    """As it is now, forecast where it moved since it was read; null: not known."""
    pickup: str | None = None
    probability: float | None = None
    """That the true value lies inside the limits."""
    quantity: QuantityName = UNKNOWN
    reading: ReadingRef | None = None
    reason: str | None = None
    side: Side | None = None
    source: str = ""
    stale: bool = False
    """Older than an adjustment that affects it: `now` is a forecast until it is read."""
    string: int | None = None
    taken_off: Quantity | None = None
    """By how much the bench's tool is known to read too high: not in `value`."""
    target: Quantity | None = None
    tomorrow: Believed | None = None
    """As it will be a day later when nothing more is done; null: not known."""
    uncertainty: Quantity | None = None
    uncertainty_source: str | None = None
    """What the uncertainty comes from: a bench study, the tool, its step."""
    upper: Quantity | None = None
    usable: bool = False
    value: Quantity | None = None
    verdict: VerdictWord | None = None
    zero_or_less: bool = False


@dataclass(kw_only=True, repr=False, eq=False)
class Recommendation(HasSteps, Record):
    """The ordered plan computed from spec, geometry and readings."""

    complete: bool = False
    """Everything is in spec, or accepted."""
    digest: str = ""
    finished: bool = False
    """Nothing more can be done here: complete, refused or out of reach."""
    inputs: PlanInputs = field(default_factory=empty)
    job_id: str | None = None
    not_asked: list[NotAsked] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    read_after_rest: list[ReadingWanted] = field(default_factory=list)
    """The readings to take then; empty: no rest is due now."""
    rest_until: datetime | None = None
    """When the neck has rested: the last turn of the rod or change of strings and the shop's rest after
    it, from what was entered alone. null, as `settle_for`: no rest is due now.
    """
    rod_doubt: float = 0.0
    """Chance that the truss rod is dead or turns the wrong way."""
    settle_for: Quantity | None = None
    """How long the job rests now, counted from its newest entry; null: there is something else to do
    first, or the neck has rested.
    """
    settling: PlanSettling = field(default_factory=PlanSettling)
    state: PlanState | None = None
    """null: it was not asked for."""
    steps: list[Step] = field(default_factory=list)
    surprises: list[Surprise] = field(default_factory=list)
    """Readings of the job that do not fit the others, settled ones included."""
    text: str = ""
    """The plan as plain text for a terminal."""
    verdicts: list[Verdict] = field(default_factory=list)


@dataclass(kw_only=True, repr=False, eq=False)
class SettlingJob(Record):
    """A job that rests until its neck has settled."""

    available_at: datetime | None = None
    due: bool = False
    instrument_id: str | None = None
    job_id: str = ""
    last_technician_id: str | None = None
    late_minutes: int = 0
    """How long it has been due, in opening hours; 0 while it rests."""
    number: int = 0

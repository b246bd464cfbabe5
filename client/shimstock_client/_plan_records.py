"""The plan of a job as typed records."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from ._quantity import Quantity
from ._wire import Record


@dataclass(kw_only=True)
class Believed(Record):
    """What all of the job together says of one quantity."""

    value: Quantity | None = None
    uncertainty: Quantity | None = None
    probability: float = 0.0


@dataclass(kw_only=True)
class Verdict(Record):
    """One item of the spec against its newest reading."""

    quantity: str = ""
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    fret: int | None = None
    held: list[int] = field(default_factory=list)
    target: Quantity | None = None
    lower: Quantity | None = None
    upper: Quantity | None = None
    source: str | None = None
    reading: dict[str, Any] | None = None
    value: Quantity | None = None
    uncertainty: Quantity | None = None
    uncertainty_source: str | None = None
    probability: float | None = None
    verdict: str | None = None
    usable: bool = False
    stale: bool = False
    zero_or_less: bool = False
    accepted: bool = False
    taken_off: Quantity | None = None
    """By how much the bench's tool is known to read too high: not in `value`."""
    reason: str | None = None
    now: Believed | None = None
    tomorrow: Believed | None = None


@dataclass(kw_only=True)
class Change(Record):
    """What a step does to one quantity."""

    quantity: str = ""
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    before: Quantity | None = None
    after: Quantity | None = None
    target: Quantity | None = None
    lower: Quantity | None = None
    upper: Quantity | None = None
    uncertainty: Quantity | None = None


@dataclass(kw_only=True)
class PartMove(Record):
    """One part to turn, file, shim or shift."""

    part: str = ""
    direction: str = ""
    seen: str = ""
    turns: Quantity | None = None
    amount: Quantity | None = None
    wanted: Any = None
    total_turns: Quantity | None = None
    side: str | None = None
    string: int | None = None
    pickup: str | None = None


@dataclass(kw_only=True)
class Shown(Record):
    """What a tool should show, with its standard deviation."""

    value: Quantity | None = None
    uncertainty: Quantity | None = None


@dataclass(kw_only=True)
class Worth(Record):
    """Bench minutes that something saves on average, and that it costs."""

    saves: Quantity | None = None
    costs: Quantity | None = None


@dataclass(kw_only=True)
class ReadingWanted(Record):
    """A reading to take."""

    quantity: str = ""
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    fret: int | None = None
    held: list[int] = field(default_factory=list)
    method: str | None = None
    why: str = ""
    finest: bool = False
    """With the finest tool at hand, not the usual one."""
    expected_now: Shown | None = None
    """What the tool should show at once after the step, before the neck has come to rest."""


@dataclass(kw_only=True)
class NotAsked(Record):
    """A quantity in some doubt that is left alone for now, as no reading of it is worth its minutes."""

    quantity: str = ""
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    probability: float = 0.0
    """That it will be in spec tomorrow."""
    worth: Worth | None = None


@dataclass(kw_only=True)
class Slip(Record):
    """What may be behind a reading that does not fit, with its chance."""

    code: str = ""
    reading: dict[str, Any] | None = None
    probability: float = 0.0


@dataclass(kw_only=True)
class Meant(Record):
    """The slip of the hand that would explain a reading, and what was meant then."""

    code: str = ""
    value: Quantity | None = None
    text: str = ""


@dataclass(kw_only=True)
class OtherReading(Record):
    """The reading that a surprising one contradicts."""

    reading: dict[str, Any] | None = None
    quantity: str = ""
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    value: Quantity | None = None


@dataclass(kw_only=True)
class Surprise(Record):
    """A reading that does not fit the job's others."""

    reading: dict[str, Any] | None = None
    quantity: str = ""
    side: str | None = None
    string: int | None = None
    pickup: str | None = None
    value: Quantity | None = None
    expected: Shown | None = None
    other: OtherReading | None = None
    slips: list[Slip] = field(default_factory=list)
    meant: Meant | None = None
    open: bool = False
    """It is read again before any further step."""
    set_aside: dict[str, Any] | None = None
    text: str = ""


@dataclass(kw_only=True)
class Coded(Record):
    """A text with a stable code: a caution, or what blocks a step."""

    code: str = ""
    text: str = ""


@dataclass(kw_only=True)
class Note(Coded):
    """Something said plainly, with the alternatives."""

    alternatives: list[str] = field(default_factory=list)
    quote: bool = False


@dataclass(kw_only=True)
class Step(Record):
    """One step of a plan."""

    number: int = 0
    kind: str = ""
    part: str | None = None
    what: str = ""
    moves: list[PartMove] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    total: list[Change] = field(default_factory=list)
    forecasts: list[Change] = field(default_factory=list)
    total_forecasts: list[Change] = field(default_factory=list)
    probability: float | None = None
    confidence: str | None = None
    why: str | None = None
    cautions: list[Coded] = field(default_factory=list)
    readings_next: list[ReadingWanted] = field(default_factory=list)
    irreversible: bool = False
    needs_consent: str | None = None
    consent_step: str | None = None
    blocked_by: list[Coded] = field(default_factory=list)
    do_now: bool = False
    changes_instrument: bool = False
    worth: Worth | None = None


@dataclass(kw_only=True)
class PlanSettling(Record):
    """Whether relief has settled."""

    state: str = ""
    read_from: datetime | None = None
    reason: str | None = None


@dataclass(kw_only=True)
class StateNumber(Record):
    """One number that the plan reckons with."""

    name: str = ""
    unit: str = ""
    mean: float = 0.0
    uncertainty: float = 0.0


@dataclass(kw_only=True)
class PlanState(Record):
    """All that is believed of the instrument, as numbers that are normal together."""

    time: datetime | None = None
    numbers: list[StateNumber] = field(default_factory=list)
    correlations: list[list[float]] = field(default_factory=list)
    """For each number its correlations with those before it."""


@dataclass(kw_only=True)
class Recommendation(Record):
    """The ordered plan computed from spec, geometry and readings."""

    job_id: str | None = None
    digest: str = ""
    verdicts: list[Verdict] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    settling: PlanSettling | None = None
    settle_for: Quantity | None = None
    rest_until: datetime | None = None
    read_after_rest: list[ReadingWanted] = field(default_factory=list)
    not_asked: list[NotAsked] = field(default_factory=list)
    surprises: list[Surprise] = field(default_factory=list)
    complete: bool = False
    finished: bool = False
    rod_doubt: float = 0.0
    inputs: dict[str, Any] = field(default_factory=dict)
    state: PlanState | None = None
    """Where it was asked for."""
    text: str = ""

    @property
    def do_now(self) -> Step | None:
        """The step to do now: what changes the instrument before what only looks; None when there is none."""
        now = [step for step in self.steps if step.do_now]
        return next((step for step in now if step.changes_instrument), now[0] if now else None)

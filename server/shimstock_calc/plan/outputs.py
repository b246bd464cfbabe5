"""What the plan says."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from .inputs import Part, Quantity, Side
from .words import Sentence

VerdictWord: TypeAlias = Literal["in spec", "out of spec", "too close to call"]
StepKind: TypeAlias = Literal[
    "look-over",
    "tune",
    "measure",
    "read-again",
    "restring",
    "balance",
    "relief",
    "settle",
    "fret-check",
    "nut",
    "action",
    "shim",
    "break-clearance",
    "pickups",
    "intonation",
    "final-readings",
]


@dataclass(frozen=True)
class Believed:
    """What is believed of one quantity at one time, all of the job taken together."""

    value: float
    spread: float
    """Standard deviation."""
    chance: float
    """That it is in spec."""


@dataclass(frozen=True)
class Verdict:
    """One spec item against its newest reading, converted to the spec's frets."""

    quantity: Quantity
    side: Side | None
    string: int | None
    pickup: str | None
    fret: int | None
    held: tuple[int, ...]
    target: float
    lower: float | None
    upper: float | None
    source: str
    reading: str | None
    """Id of the reading; None = not read yet."""
    value: float | None
    """Converted to the spec's frets; None when missing or known only as zero or less."""
    uncertainty: float | None
    """Standard uncertainty of `value`."""
    probability: float | None
    verdict: VerdictWord | None
    """None when there is no usable reading."""
    usable: bool
    stale: bool
    zero_or_less: bool = False
    accepted: bool = False
    reason: Sentence | None = None
    """Why there is no verdict, or what was converted or assumed."""
    uncertainty_source: str | None = None
    """What the uncertainty comes from, in words."""
    taken_off: float = 0.0
    """By how much the bench's tool reads too high; `value` is without it."""
    now: Believed | None = None
    """As it is now; None = nothing is known."""
    tomorrow: Believed | None = None
    """As it will be a day later, nothing more being done."""

    @property
    def as_read(self) -> float | None:
        """What the tool showed, at the spec's frets."""
        return None if self.value is None else round(self.value + self.taken_off, 6)


@dataclass(frozen=True)
class Change:
    """What a step does to one quantity."""

    quantity: Quantity
    side: Side | None
    string: int | None
    before: float
    after: float
    target: float | None = None
    lower: float | None = None
    upper: float | None = None
    uncertainty: float | None = None
    """Standard uncertainty of `after`."""
    pickup: str | None = None


@dataclass(frozen=True)
class Move:
    """One part to turn, file, shim or shift."""

    part: Part
    direction: str
    """tighten, loosen, raise, lower, file, shim, away from the nut, toward the nut."""
    seen: str
    """Which way it turns and seen from where ("clockwise, seen from above"); empty when nothing is turned."""
    turns: float | None
    """To do now, signed, a multiple of 1/8."""
    amount: float | None
    """What that is in mm, signed (height or travel); files: the amount taken off, positive."""
    wanted: float | None = None
    """Unrounded, before limits, in turns where it is turned, else in mm; signed."""
    total_turns: float | None = None
    """All that is needed, of which `turns` is the part to do now; a multiple of 1/8."""
    side: Side | None = None
    string: int | None = None
    pickup: str | None = None


@dataclass(frozen=True)
class Shown:
    """What a tool should show."""

    value: float
    spread: float
    """Standard deviation, the tool's own noise included."""


@dataclass(frozen=True)
class Worth:
    """Minutes that something saves, against those that it costs [bench minutes]."""

    saves: float
    costs: float


@dataclass(frozen=True)
class NotAsked:
    """A quantity that is left alone for now, as no reading of it is worth its minutes."""

    quantity: Quantity
    side: Side | None
    string: int | None
    pickup: str | None
    chance: float
    """That it will be in spec tomorrow."""
    worth: Worth | None
    """Of another reading; None = it is as good as surely in spec."""


@dataclass(frozen=True)
class ReadingWanted:
    """A reading to take."""

    quantity: Quantity
    side: Side | None = None
    string: int | None = None
    pickup: str | None = None
    fret: int | None = None
    held: tuple[int, ...] = ()
    method: str | None = None
    why: str = ""
    """missing, stale, off pitch, too close to call, repeat, after the step …"""
    finest: bool = False
    """With the finest tool at hand, not the usual one."""
    expected_now: Shown | None = None
    """What the tool should show at once after the step, before anything comes to rest."""


SlipCode: TypeAlias = Literal["this-reading", "other-reading", "moved", "nothing"]


@dataclass(frozen=True)
class Slip:
    """What may be behind a reading that does not fit."""

    code: SlipCode
    """This reading is wrong, another one is, something moved that was not recorded, or nothing is wrong."""
    chance: float
    reading: str | None = None
    """Id of the reading that would be wrong."""


@dataclass(frozen=True)
class Meant:
    """What was likely meant by a reading that does not fit."""

    code: Literal["unit", "string", "digit"]
    value: float
    text: Sentence


@dataclass(frozen=True)
class OtherReading:
    """The reading that a surprising one contradicts."""

    reading: str
    quantity: Quantity
    side: Side | None
    string: int | None
    pickup: str | None
    value: float | None
    """None = zero or less."""


@dataclass(frozen=True)
class SurprisingReading:
    """A reading that does not fit the others."""

    reading: str
    quantity: Quantity
    side: Side | None
    string: int | None
    pickup: str | None
    value: float
    expected: float | None
    """What it was expected to show; None = it contradicts readings of other quantities."""
    spread: float | None
    """Standard deviation about what was expected, the reading's own noise included."""
    other: OtherReading | None
    slips: tuple[Slip, ...]
    """Their chances add up to one."""
    meant: Meant | None
    open: bool
    """Whether it is read again before any further step."""
    aside: str | None
    """Id of the reading that is set aside; None = every one counts."""
    text: Sentence


@dataclass(frozen=True)
class Caution:
    """A caution that belongs to a step."""

    code: str
    text: str


@dataclass(frozen=True)
class Block:
    """Why a step may not be done yet."""

    code: str
    text: Sentence


@dataclass(frozen=True)
class Step:
    """One step of the plan."""

    number: int
    kind: StepKind
    part: Part | None
    what: Sentence
    moves: tuple[Move, ...] = ()
    changes: tuple[Change, ...] = ()
    """From → to of what the step is for, after the part that is done now."""
    total: tuple[Change, ...] = ()
    """From → to after all of it, where only a part is done now; else empty."""
    forecasts: tuple[Change, ...] = ()
    """What the part done now does to the other readings."""
    total_forecasts: tuple[Change, ...] = ()
    """What all of it does to the other readings; else empty."""
    probability: float | None = None
    """That the quantity will be in spec after all of it."""
    confidence: Sentence | None = None
    why: Sentence | None = None
    cautions: tuple[Caution, ...] = ()
    readings_next: tuple[ReadingWanted, ...] = ()
    irreversible: bool = False
    needs_consent: Literal["general", "named"] | None = None
    consent_step: Literal["nut-filing", "saddle-filing", "fret-work", "high-pull"] | None = None
    blocked_by: tuple[Block, ...] = ()
    do_now: bool = False
    changes_instrument: bool = False
    worth: Worth | None = None
    """For the quantity that gains most; None = a rule asks for it, or a step before it does."""


@dataclass(frozen=True)
class Note:
    """Something said plainly: what cannot be reached, with the alternatives; what a setup does not cure."""

    code: str
    text: Sentence
    alternatives: tuple[Sentence, ...] = ()
    quote: bool = False
    """The alternatives go beyond a setup: a quote for the owner."""


@dataclass(frozen=True)
class Settling:
    """Whether relief has settled after the last rod turn or change of strings."""

    state: Literal["not needed", "settled", "waiting"]
    since: float | None = None
    """When the last rod turn or restring was done [min, the input's clock]."""
    read_from: float | None = None
    """Earliest time at which the next relief reading counts [min, the input's clock]."""
    reason: Sentence | None = None


@dataclass(frozen=True)
class Plan:
    """Verdicts, ordered steps, and what must be said besides."""

    verdicts: tuple[Verdict, ...]
    steps: tuple[Step, ...]
    notes: tuple[Note, ...] = ()
    settled: Settling = field(default_factory=lambda: Settling("not needed"))
    rest_until: float | None = None
    """When the neck has rested, where resting is all that is left to do now [min, the input's clock]."""
    settle_for: float | None = None
    """What is left of that rest from the newest entry on [min]; None = the job need not rest."""
    read_after_rest: tuple[ReadingWanted, ...] = ()
    """Readings to take once the neck has rested."""
    complete: bool = False
    """Every spec item has a usable reading that is in spec or accepted, and no step is left."""
    finished: bool = False
    """Nothing more can be done here: complete, or what is left is unreachable or refused by the owner."""
    readings_used: tuple[str, ...] = ()
    not_asked: tuple[NotAsked, ...] = ()
    """What is left alone for now."""
    surprises: tuple[SurprisingReading, ...] = ()
    """Readings of the job that do not fit the others, and what became of them."""
    rod_doubt: float = 0.0
    """Chance that the truss rod is dead or reversed."""

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
    now: Believed | None = None
    """As it is now; None = nothing is known."""
    tomorrow: Believed | None = None
    """As it will be a day later, nothing more being done."""


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
    settle_for: float | None = None
    """Minutes that the job should rest after the step to do now; None = it need not."""
    complete: bool = False
    """Every spec item has a usable reading that is in spec or accepted, and no step is left."""
    finished: bool = False
    """Nothing more can be done here: complete, or what is left is unreachable or refused by the owner."""
    readings_used: tuple[str, ...] = ()
    rod_doubt: float = 0.0
    """Chance that the truss rod is dead or reversed."""

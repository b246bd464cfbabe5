"""Records of cards, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TypedDict

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored, empty
from ..words import InstrumentKind, JobState, QuantityName, Side, VerdictWord
from .bench import Believed


@dataclass(kw_only=True, repr=False, eq=False)
class CardLink(Stored):
    """An address of an owner's page."""

    active: bool = False
    """Whether it opens the page at the moment."""
    expires_at: datetime | None = None
    job_id: str = ""
    revoked_at: datetime | None = None
    path: str | None = field(default=None, repr=False)
    """/cards/ and the secret part. A repetition under the same Idempotency-Key shows it again, while it
    opens the page; null once the service's secret was changed.
    """


class CardCaution(TypedDict):
    """A dictionary as it travels."""

    code: str
    text: str


class CardInstrument(TypedDict):
    """A dictionary as it travels."""

    kind: InstrumentKind
    made_in: int | None
    maker: str
    model: str
    nickname: str | None
    serial: str | None
    strings: str | None
    strings_fitted_on: str | None
    tuning: str | None


@dataclass(kw_only=True, repr=False, eq=False)
class CardRoom(Record):
    """The room's air on a card."""

    relative_humidity: Quantity | None = None
    temperature: Quantity | None = None


class CardJob(TypedDict):
    """A dictionary as it travels."""

    final: bool
    id: str
    number: int
    owner: str | None
    read_after_on: str | None
    read_before_on: str | None
    ready_on: str | None
    received_on: str | None
    room: CardRoom | None
    state: JobState


@dataclass(kw_only=True, repr=False, eq=False)
class CardLook(Record):
    """What was read, converted to the spec's frets, and its verdict."""

    accepted: bool = False
    now: Believed | None = None
    """What all readings and adjustments of the job together say of the quantity as it is now; `value` is
    what the tool showed. Null: before the work, or not known.
    """
    probability: float | None = None
    """That the true value lies inside the limits."""
    read_on: date | None = None
    reason: str | None = None
    stale: bool = False
    tomorrow: Believed | None = None
    """The same a day later: a neck goes on moving after a turn of its rod."""
    uncertainty: Quantity | None = None
    value: Quantity | None = None
    verdict: VerdictWord | None = None
    zero_or_less: bool = False


@dataclass(kw_only=True, repr=False, eq=False)
class CardQuantity(Record):
    """One item of the setup spec with its reading before and after."""

    after: CardLook = field(default_factory=CardLook)
    before: CardLook = field(default_factory=CardLook)
    fret: int | None = None
    held: list[int] = field(default_factory=list)
    lower: Quantity | None = None
    name: str = ""
    """What is read, and where, in words."""
    pickup: str | None = None
    quantity: QuantityName = UNKNOWN
    side: Side | None = None
    source: str = ""
    string: int | None = None
    target: Quantity | None = None
    upper: Quantity | None = None


class CardShop(TypedDict):
    """A dictionary as it travels."""

    name: str
    place: str | None


@dataclass(kw_only=True, repr=False, eq=False)
class Card(Record):
    """Before and after of a job, in the owner's units and language."""

    cautions: list[CardCaution] = field(default_factory=list)
    done: list[str] = field(default_factory=list)
    """What was done, in words."""
    instrument: CardInstrument = field(default_factory=empty)
    job: CardJob = field(default_factory=empty)
    judgement: str = ""
    language: str = ""
    left: list[str] = field(default_factory=list)
    """What is not in spec, not read or out of reach, why, and what is offered."""
    next_look: list[str] = field(default_factory=list)
    offsets: list[str] = field(default_factory=list)
    """Benches whose tools are known to read too high or too low: numbers are as read, verdicts allow for
    it.
    """
    picture: str = field(default="", repr=False)
    """SVG: the neck from the side."""
    quantities: list[CardQuantity] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    """What the owner said no to."""
    shop: CardShop = field(default_factory=empty)
    summary: str = ""

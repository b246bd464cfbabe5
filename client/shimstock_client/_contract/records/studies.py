"""Records of studies, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TypedDict

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored, empty
from ..words import QuantityName, Side, StudyState


class StudyPiece(TypedDict):
    """A dictionary as it travels."""

    fret: int | None
    held: list[int] | None
    instrument_id: str | None
    name: str
    pickup: str | None
    side: Side | None
    string: int | None


@dataclass(kw_only=True, repr=False, eq=False)
class StudyReader(Record):
    """Who reads in a study, how much is left, and whether it is the bench whose key asks."""

    bench_id: str = ""
    here: bool = False
    """Whether it is the bench whose key asks."""
    left: int = 0
    name: str = ""
    technician_id: str | None = None
    tool_id: str | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class Study(Stored):
    """A guided study with its pieces and readers."""

    ended_at: datetime | None = None
    name: str = ""
    note: str | None = None
    pieces: list[StudyPiece] = field(default_factory=list)
    quantity: QuantityName = UNKNOWN
    readers: list[StudyReader] = field(default_factory=list)
    readings: int = 0
    seed: int = 0
    state: StudyState = UNKNOWN
    taken: int = 0
    tolerance: Quantity | None = None
    trials: int = 0


@dataclass(kw_only=True, repr=False, eq=False)
class AgreementReader(Record):
    """A reader of a study."""

    difference: Quantity | None = None
    name: str = ""
    repeatability: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class VarianceRow(Record):
    """A row of an analysis of variance."""

    freedom: int = 0
    mean_square: float = 0.0
    probability: float | None = None
    ratio: float | None = None
    source: str = ""
    squares: float = 0.0


@dataclass(kw_only=True, repr=False, eq=False)
class AgreementMethod(Record):
    """One method's figures of a study."""

    agreement: Quantity | None = None
    classes: int | None = None
    difference_limit: Quantity | None = None
    interaction_pooled: bool = False
    method: str = ""
    percent_of_tolerance: float | None = None
    percent_of_total: float = 0.0
    pieces: Quantity | None = None
    readers: list[AgreementReader] = field(default_factory=list)
    repeatability: Quantity | None = None
    reproducibility: Quantity | None = None
    table: list[VarianceRow] = field(default_factory=list)
    total: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class AgreementReading(Record):
    """A reading of a study."""

    judged: bool = False
    """Whether it belongs to the part that was judged."""
    number: int = 0
    piece: int = 0
    reader: int = 0
    trial: int = 0
    value: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class StudyAgreement(Record):
    """What a study says, with its figures by both methods."""

    methods: list[AgreementMethod] = field(default_factory=list)
    quantity: QuantityName = UNKNOWN
    readings: list[AgreementReading] = field(default_factory=list)
    study_id: str = ""
    tolerance: Quantity | None = None
    words: list[str] = field(default_factory=list)


@dataclass(kw_only=True, repr=False, eq=False)
class NextReading(Record):
    """What a reader of a study reads next."""

    left: int = 0
    number: int = 0
    """Its place in the order; named with the reading."""
    piece: int = 0
    reader: int = 0
    trial: int = 0
    what: StudyPiece = field(default_factory=empty)


@dataclass(kw_only=True, repr=False, eq=False)
class StudyReadingTaken(Record):
    """A reading that a study took, and what comes next."""

    next: NextReading | None = None
    number: int = 0

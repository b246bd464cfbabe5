"""Records of bench agreement, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record
from ..words import QuantityName
from .check_pieces import CheckPiece


@dataclass(kw_only=True, repr=False, eq=False)
class BenchRepeats(Record):
    """How well a bench repeats."""

    difference: Quantity | None = None
    """By how much it read above the mean of all benches."""
    found_at: datetime | None = None
    quantity: QuantityName = UNKNOWN
    repeatability: Quantity | None = None
    study: str = ""
    tool: str | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class BenchStanding(Record):
    """How a bench stands: studies and check pieces."""

    bench_id: str = ""
    checked_on: date | None = None
    checked_today: bool = False
    drifting: bool = False
    name: str = ""
    pieces: list[CheckPiece] = field(default_factory=list)
    repeats: list[BenchRepeats] = field(default_factory=list)


@dataclass(kw_only=True, repr=False, eq=False)
class StudyInShort(Record):
    """A study in short."""

    ended_at: datetime | None = None
    name: str = ""
    percent_of_tolerance: float | None = None
    percent_of_total: float = 0.0
    quantity: QuantityName = UNKNOWN
    study_id: str = ""
    words: list[str] = field(default_factory=list)


@dataclass(kw_only=True, repr=False, eq=False)
class BenchAgreement(Record):
    """Whether the benches measure the same."""

    benches: list[BenchStanding] = field(default_factory=list)
    studies: list[StudyInShort] = field(default_factory=list)

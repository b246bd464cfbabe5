"""Records of check pieces, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored
from ..words import QuantityName


@dataclass(kw_only=True, repr=False, eq=False)
class ControlLimits(Record):
    """Limits of a check piece, from its bench's own days."""

    bias: Quantity | None = None
    bias_probability: float | None = None
    bias_uncertainty: Quantity | None = None
    days: int = 0
    lower: Quantity | None = None
    mean: Quantity | None = None
    mean_sd: Quantity | None = None
    repetition_sd: Quantity | None = None
    spread_upper: Quantity | None = None
    upper: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class CheckValue(Record):
    """One value of a daily check."""

    value: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class CheckReading(Stored):
    """A day's check of a piece and its verdict."""

    confirmed: bool = False
    day: str = ""
    deviation: Quantity | None = None
    mean: Quantity | None = None
    note: str | None = None
    piece_id: str = ""
    taken_at: datetime | None = None
    technician_id: str | None = None
    values: list[CheckValue] = field(default_factory=list)
    verdict: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class CheckPiece(Stored):
    """A check piece that a bench reads every day."""

    active: bool = False
    bench_id: str = ""
    days_to_limits: int = 0
    """Days of checks that are missing before there are limits."""
    drifting: bool = False
    """The newest check reads higher or lower than it used to."""
    limits: ControlLimits | None = None
    """Null until there are checks of five days; from the first fifty at most."""
    limits_from: str | None = None
    name: str = ""
    newest: CheckReading | None = None
    note: str | None = None
    quantity: QuantityName = UNKNOWN
    repeats_badly: bool = False
    """The newest check's readings differ more than they used to."""
    repetitions: int = 0
    stated: Quantity | None = None
    tool_id: str | None = None

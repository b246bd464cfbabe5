"""Records of shop, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypedDict

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored, empty
from ..words import AirSource, SensitivityOf, Units


@dataclass(kw_only=True, repr=False, eq=False)
class Closure(Stored):
    """A day on which the shop keeps other hours, or none."""

    closes: str | None = None
    day: str = ""
    opens: str | None = None
    reason: str | None = None
    bookings: list[str] = field(default_factory=list)
    """Bookings of that day at a time when the shop is shut now: they stay booked. Move them, or tell their
    owners.
    """


@dataclass(kw_only=True, repr=False, eq=False)
class WorkMinutes(Record):
    """`MinutesOut` of the document."""

    count: int = 0
    """Readings or adjustments that the median is of; it is reckoned with from 20 on."""
    learned: float | None = None
    """Median of what the newest closed jobs took: the time since the entry before, or the minutes said of
    an adjustment, less the tuning after it.
    """
    minutes: float = 0.0
    """What plans of new jobs reckon with [bench minutes]."""
    name: str = ""
    of: SensitivityOf = UNKNOWN
    own: float | None = None
    """What the shop has set instead; null = nothing."""
    source: AirSource = UNKNOWN
    """Where they come from: set by the shop, else learned, else usual."""
    usual: float = 0.0
    """Without any job of this shop; judgement."""


@dataclass(kw_only=True, repr=False, eq=False)
class OpeningHours(Record):
    """Local wall times of one weekday, 1 = Monday."""

    closes: str = ""
    opens: str = ""
    weekday: int = 0
    """Monday is 1, Sunday is 7 (ISO 8601)."""


AdjustmentMinutes = TypedDict(
    "AdjustmentMinutes",
    {
        "bridge-post": float | None,
        "nut-slot": float | None,
        "pickup-screw": float | None,
        "saddle": float | None,
        "saddle-position": float | None,
        "saddle-screw": float | None,
        "spring-claw": float | None,
        "truss-rod": float | None,
    },
)
AdjustmentMinutes.__doc__ = "A dictionary as it travels."


ReadingMinutes = TypedDict(
    "ReadingMinutes",
    {
        "action": float | None,
        "break-clearance": float | None,
        "intonation": float | None,
        "nut-action": float | None,
        "pickup-height": float | None,
        "relief": float | None,
        "saddle-out": float | None,
        "twist": float | None,
    },
)
ReadingMinutes.__doc__ = "A dictionary as it travels."


class ShopPrices(TypedDict):
    """A dictionary as it travels."""

    adjustment: AdjustmentMinutes
    prompt: float | None
    reading: ReadingMinutes
    retune: float | None
    retune_floating: float | None
    visit: float | None
    wrong: float | None


@dataclass(kw_only=True, repr=False, eq=False)
class Shop(Stored):
    """The shop's settings."""

    claims_per_technician: int = 0
    contact: str | None = None
    currency: str = ""
    everything_at_the_end: bool = False
    humidity_high: Quantity | None = None
    humidity_low: Quantity | None = None
    language: str = ""
    minutes: list[WorkMinutes] = field(default_factory=list)
    name: str = ""
    opening_hours: list[OpeningHours] = field(default_factory=list)
    place: str | None = None
    prices: ShopPrices = field(default_factory=empty)
    recheck_probability: float = 0.0
    settle_first_minutes: int = 0
    shop_rate: float | None = None
    string_days: int = 0
    string_hours: float = 0.0
    units: Units = UNKNOWN
    zone: str = ""

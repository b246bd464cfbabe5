"""Bodies and filters of shop, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NotRequired, TypedDict

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions, WriteOptions
from ..words import Units


class ClosureIn(TypedDict):
    """A dictionary as it travels."""

    closes: NotRequired[str | None]
    day: date | str
    opens: NotRequired[str | None]
    reason: NotRequired[str | None]


class OpeningIn(TypedDict):
    """A dictionary as it travels."""

    closes: str
    opens: str
    weekday: int


AdjustmentMinutesIn = TypedDict(
    "AdjustmentMinutesIn",
    {
        "bridge-post": NotRequired[float | None],
        "nut-slot": NotRequired[float | None],
        "pickup-screw": NotRequired[float | None],
        "saddle": NotRequired[float | None],
        "saddle-position": NotRequired[float | None],
        "saddle-screw": NotRequired[float | None],
        "spring-claw": NotRequired[float | None],
        "truss-rod": NotRequired[float | None],
    },
)
AdjustmentMinutesIn.__doc__ = "A dictionary as it travels."


ReadingMinutesIn = TypedDict(
    "ReadingMinutesIn",
    {
        "action": NotRequired[float | None],
        "break-clearance": NotRequired[float | None],
        "intonation": NotRequired[float | None],
        "nut-action": NotRequired[float | None],
        "pickup-height": NotRequired[float | None],
        "relief": NotRequired[float | None],
        "saddle-out": NotRequired[float | None],
        "twist": NotRequired[float | None],
    },
)
ReadingMinutesIn.__doc__ = "A dictionary as it travels."


class ShopPricesIn(TypedDict):
    """A dictionary as it travels."""

    adjustment: NotRequired[AdjustmentMinutesIn]
    prompt: NotRequired[float | None]
    reading: NotRequired[ReadingMinutesIn]
    retune: NotRequired[float | None]
    retune_floating: NotRequired[float | None]
    visit: NotRequired[float | None]
    wrong: NotRequired[float | None]


class ShopChange(TypedDict):
    """A dictionary as it travels."""

    claims_per_technician: NotRequired[int]
    contact: NotRequired[str | None]
    currency: NotRequired[str]
    everything_at_the_end: NotRequired[bool]
    humidity_high: NotRequired[Quantity | QuantityDict]
    humidity_low: NotRequired[Quantity | QuantityDict]
    language: NotRequired[str]
    name: NotRequired[str]
    opening_hours: NotRequired[Sequence[OpeningIn]]
    place: NotRequired[str | None]
    prices: NotRequired[ShopPricesIn]
    recheck_probability: NotRequired[float]
    settle_first_minutes: NotRequired[int]
    shop_rate: NotRequired[float | None]
    string_days: NotRequired[int]
    string_hours: NotRequired[float]
    units: NotRequired[Units]
    zone: NotRequired[str]


class ShopIn(TypedDict):
    """A dictionary as it travels."""

    claims_per_technician: NotRequired[int]
    contact: NotRequired[str | None]
    currency: NotRequired[str]
    everything_at_the_end: NotRequired[bool]
    humidity_high: NotRequired[Quantity | QuantityDict]
    humidity_low: NotRequired[Quantity | QuantityDict]
    language: NotRequired[str]
    name: str
    opening_hours: NotRequired[Sequence[OpeningIn]]
    place: NotRequired[str | None]
    prices: NotRequired[ShopPricesIn]
    recheck_probability: NotRequired[float]
    settle_first_minutes: NotRequired[int]
    shop_rate: NotRequired[float | None]
    string_days: NotRequired[int]
    string_hours: NotRequired[float]
    units: NotRequired[Units]
    zone: str


class ClosuresFilters(CallOptions, total=False):
    """What `/v1/closures` can be asked for."""

    limit: int | None
    first: date | str | None
    last: date | str | None


class ShopChangeFields(WriteOptions):
    """A dictionary as it travels."""

    claims_per_technician: NotRequired[int]
    contact: NotRequired[str | None]
    currency: NotRequired[str]
    everything_at_the_end: NotRequired[bool]
    humidity_high: NotRequired[Quantity | QuantityDict]
    humidity_low: NotRequired[Quantity | QuantityDict]
    language: NotRequired[str]
    name: NotRequired[str]
    opening_hours: NotRequired[Sequence[OpeningIn]]
    place: NotRequired[str | None]
    prices: NotRequired[ShopPricesIn]
    recheck_probability: NotRequired[float]
    settle_first_minutes: NotRequired[int]
    shop_rate: NotRequired[float | None]
    string_days: NotRequired[int]
    string_hours: NotRequired[float]
    units: NotRequired[Units]
    zone: NotRequired[str]


class ShopFields(WriteOptions):
    """A dictionary as it travels."""

    claims_per_technician: NotRequired[int]
    contact: NotRequired[str | None]
    currency: NotRequired[str]
    everything_at_the_end: NotRequired[bool]
    humidity_high: NotRequired[Quantity | QuantityDict]
    humidity_low: NotRequired[Quantity | QuantityDict]
    language: NotRequired[str]
    name: str
    opening_hours: NotRequired[Sequence[OpeningIn]]
    place: NotRequired[str | None]
    prices: NotRequired[ShopPricesIn]
    recheck_probability: NotRequired[float]
    settle_first_minutes: NotRequired[int]
    shop_rate: NotRequired[float | None]
    string_days: NotRequired[int]
    string_hours: NotRequired[float]
    units: NotRequired[Units]
    zone: str

"""Records of forecasts, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TypedDict

from ..._quantity import Quantity, QuantityDict
from ..._wire import UNKNOWN, Record, empty
from ..words import AnsweringOf, AnsweringSource, Cause, ForecastAirSource, QuantityName, Side
from .rooms import RoomRemark


class ForecastAir(TypedDict):
    """A dictionary as it travels."""

    climate: str | None
    climate_id: str | None
    logged_days: int
    logged_from: str | None
    logged_months: list[int]
    logged_to: str | None
    room_id: str | None
    source: ForecastAirSource


@dataclass(kw_only=True, repr=False, eq=False)
class ForecastDay(Record):
    """A day of the forecast; the band reaches two standard deviations each way."""

    day: date | None = None
    expected: Quantity | None = None
    high: Quantity | None = None
    low: Quantity | None = None
    moisture_change: Quantity | None = None
    probability_out: float = 0.0
    sd: Quantity | None = None


class Answering(TypedDict):
    """A dictionary as it travels."""

    of: AnsweringOf
    per_moisture_percent: QuantityDict
    samples: int
    sd: QuantityDict
    source: AnsweringSource


@dataclass(kw_only=True, repr=False, eq=False)
class ForecastCurve(Record):
    """One quantity's forecast from its last final reading on."""

    days: list[ForecastDay] = field(default_factory=list)
    lower: Quantity | None = None
    quantity: QuantityName = UNKNOWN
    sensitivities: list[Answering] = field(default_factory=list)
    sheet_id: str = ""
    side: Side | None = None
    string: int | None = None
    uncertainty: Quantity | None = None
    upper: Quantity | None = None
    value: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class RoomDay(Record):
    """A day of the room's air, and the moisture that wood would come to in it."""

    day: date | None = None
    relative_humidity: Quantity | None = None
    temperature: Quantity | None = None
    wood_moisture: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class Forecast(Record):
    """What the seasons will do to an instrument, and when to look again."""

    air: ForecastAir = field(default_factory=empty)
    cause: Cause = UNKNOWN
    instrument_id: str = ""
    quantities: list[ForecastCurve] = field(default_factory=list)
    read_on: date | None = None
    recheck_on: date | None = None
    room: list[RoomDay] = field(default_factory=list)
    sentence: str = ""
    today: date | None = None
    warnings: list[RoomRemark] = field(default_factory=list)


@dataclass(kw_only=True, repr=False, eq=False)
class Keeping(Record):
    """Where an instrument lives and how much it is played."""

    climate_id: str | None = None
    hours_per_week: float | None = None
    instrument_id: str = ""
    reminders: bool = False
    room_id: str | None = None
    updated_at: datetime | None = None
    version: int = 0


@dataclass(kw_only=True, repr=False, eq=False)
class Sensitivity(Record):
    """What this shop's readings have taught of how relief or saddle height answers moisture."""

    learned_at: datetime | None = None
    level: AnsweringSource = UNKNOWN
    of: AnsweringOf = UNKNOWN
    per_moisture_percent: Quantity | None = None
    samples: int = 0
    sd: Quantity | None = None
    subject_id: str | None = None

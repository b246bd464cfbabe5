"""Records of climates, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TypedDict

from ..._quantity import Quantity, QuantityDict
from ..._wire import UNKNOWN, Record, Stored, empty
from ..words import Measure, Origin


@dataclass(kw_only=True, repr=False, eq=False)
class ClimateMonth(Record):
    """Outdoor means of a month."""

    dew_point: Quantity | None = None
    month: int = 0
    relative_humidity: Quantity | None = None
    temperature: Quantity | None = None
    vapour_pressure: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class Climate(Stored):
    """Monthly outdoor normals of a place."""

    days_used: list[int] = field(default_factory=list)
    hours_left_out: int | None = None
    hours_used: int | None = None
    latitude: float | None = None
    longitude: float | None = None
    measure: Measure | None = None
    months: list[ClimateMonth] = field(default_factory=list)
    name: str = ""
    origin: Origin = UNKNOWN
    place: str | None = None
    source: str = ""


class Profile(TypedDict):
    """A dictionary as it travels."""

    cooled: bool
    cooling_dew_point: QuantityDict
    cooling_set_point: QuantityDict
    dehumidifier_set_point: QuantityDict | None
    heating_set_point: QuantityDict
    humidifier_set_point: QuantityDict | None
    moisture_excess: QuantityDict
    typed: dict[str, QuantityDict]


@dataclass(kw_only=True, repr=False, eq=False)
class SeasonSettings(Record):
    """How the shop forecasts: its climate, how its rooms and homes are kept, when to look."""

    climate_id: str | None = None
    earliest_days: int = 0
    home: Profile = field(default_factory=empty)
    moisture_limit: Quantity | None = None
    shop: Profile = field(default_factory=empty)
    updated_at: datetime | None = None
    version: int = 0

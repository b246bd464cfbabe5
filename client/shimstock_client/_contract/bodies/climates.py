"""Bodies and filters of climates, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions, WriteOptions


class MonthIn(TypedDict):
    """A dictionary as it travels."""

    dew_point: NotRequired[Quantity | QuantityDict | None]
    month: int
    relative_humidity: NotRequired[Quantity | QuantityDict | None]
    temperature: Quantity | QuantityDict
    vapour_pressure: NotRequired[Quantity | QuantityDict | None]


class ClimateIn(TypedDict):
    """A dictionary as it travels."""

    months: Sequence[MonthIn]
    name: str
    place: NotRequired[str | None]
    source: str


class ClimateChange(TypedDict):
    """A dictionary as it travels."""

    months: NotRequired[Sequence[MonthIn]]
    name: NotRequired[str]
    place: NotRequired[str | None]
    source: NotRequired[str]


class ProfileIn(TypedDict):
    """A dictionary as it travels."""

    cooled: NotRequired[bool | None]
    cooling_dew_point: NotRequired[Quantity | QuantityDict | None]
    cooling_set_point: NotRequired[Quantity | QuantityDict | None]
    dehumidifier_set_point: NotRequired[Quantity | QuantityDict | None]
    heating_set_point: NotRequired[Quantity | QuantityDict | None]
    humidifier_set_point: NotRequired[Quantity | QuantityDict | None]
    moisture_excess: NotRequired[Quantity | QuantityDict | None]


class SeasonSettingsIn(TypedDict):
    """A dictionary as it travels."""

    climate_id: NotRequired[UUID | str | None]
    earliest_days: NotRequired[int]
    home: NotRequired[ProfileIn]
    moisture_limit: NotRequired[Quantity | QuantityDict]
    shop: NotRequired[ProfileIn]


class ClimatesFilters(CallOptions, total=False):
    """What `/v1/climates` can be asked for."""

    limit: int | None


class SeasonFields(WriteOptions):
    """A dictionary as it travels."""

    climate_id: NotRequired[UUID | str | None]
    earliest_days: NotRequired[int]
    home: NotRequired[ProfileIn]
    moisture_limit: NotRequired[Quantity | QuantityDict]
    shop: NotRequired[ProfileIn]

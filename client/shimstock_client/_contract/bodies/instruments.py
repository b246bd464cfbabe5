"""Bodies and filters of instruments, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions
from ..words import Handedness, Kept
from .instrument_models import SidesIn, StringTravelIn, WoodPartIn


class BridgeLeftIn(TypedDict):
    """A dictionary as it travels."""

    height_left_down: NotRequired[Quantity | QuantityDict | None]
    height_left_up: NotRequired[Quantity | QuantityDict | None]
    saddle_total_height: NotRequired[SidesIn | None]
    travel_away: NotRequired[Sequence[StringTravelIn]]
    travel_toward: NotRequired[Sequence[StringTravelIn]]


class HomeIn(TypedDict):
    """A dictionary as it travels."""

    cooled: NotRequired[bool]
    dehumidifier_set_point: NotRequired[Quantity | QuantityDict | None]
    heating_set_point: NotRequired[Quantity | QuantityDict | None]
    humidifier_set_point: NotRequired[Quantity | QuantityDict | None]
    kept: NotRequired[Kept | None]
    moisture_excess: NotRequired[Quantity | QuantityDict | None]
    note: NotRequired[str | None]
    place: NotRequired[str | None]


class RodLeftIn(TypedDict):
    """A dictionary as it travels."""

    reversed: NotRequired[bool | None]
    turns_left_loosen: NotRequired[Quantity | QuantityDict | None]
    turns_left_tighten: NotRequired[Quantity | QuantityDict | None]


class InstrumentIn(TypedDict):
    """A dictionary as it travels."""

    bridge: NotRequired[BridgeLeftIn]
    handedness: NotRequired[Handedness]
    home: NotRequired[HomeIn | None]
    made_in: NotRequired[int | None]
    model_id: UUID | str
    named_consents: NotRequired[bool]
    nickname: NotRequired[str | None]
    notes: NotRequired[str | None]
    owner_id: UUID | str
    parts: NotRequired[Sequence[WoodPartIn]]
    serial: NotRequired[str | None]
    string_set_id: NotRequired[UUID | str | None]
    strings_fitted_on: NotRequired[date | str | None]
    truss_rod: NotRequired[RodLeftIn]
    tuning_id: NotRequired[UUID | str | None]


class InstrumentChange(TypedDict):
    """A dictionary as it travels."""

    bridge: NotRequired[BridgeLeftIn]
    handedness: NotRequired[Handedness]
    home: NotRequired[HomeIn | None]
    made_in: NotRequired[int | None]
    model_id: NotRequired[UUID | str]
    named_consents: NotRequired[bool]
    nickname: NotRequired[str | None]
    notes: NotRequired[str | None]
    owner_id: NotRequired[UUID | str]
    parts: NotRequired[Sequence[WoodPartIn]]
    serial: NotRequired[str | None]
    string_set_id: NotRequired[UUID | str | None]
    strings_fitted_on: NotRequired[date | str | None]
    truss_rod: NotRequired[RodLeftIn]
    tuning_id: NotRequired[UUID | str | None]


class InstrumentsFilters(CallOptions, total=False):
    """What `/v1/instruments` can be asked for."""

    limit: int | None
    owner_id: UUID | str | None
    model_id: UUID | str | None
    serial: str | None

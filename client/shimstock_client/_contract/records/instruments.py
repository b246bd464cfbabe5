"""Records of instruments, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import TypedDict

from ..._quantity import Quantity, QuantityDict
from ..._wire import UNKNOWN, Record, Stored, empty
from ..words import Handedness, InstrumentKind, Kept
from .instrument_models import Sides, StringTravel, WoodPart


class BridgeLeft(TypedDict):
    """A dictionary as it travels."""

    height_left_down: QuantityDict | None
    height_left_up: QuantityDict | None
    saddle_total_height: Sides | None
    travel_away: list[StringTravel]
    travel_toward: list[StringTravel]


@dataclass(kw_only=True, repr=False, eq=False)
class Home(Record):
    """Where an instrument lives."""

    cooled: bool = False
    dehumidifier_set_point: Quantity | None = None
    heating_set_point: Quantity | None = None
    humidifier_set_point: Quantity | None = None
    kept: Kept | None = None
    moisture_excess: Quantity | None = None
    note: str | None = None
    place: str | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class InstrumentModelBrief(Stored):
    """An instrument's model in brief."""

    frets: int = 0
    kind: InstrumentKind = UNKNOWN
    maker: str = ""
    name: str = ""
    strings: int = 0


class RodLeft(TypedDict):
    """A dictionary as it travels."""

    reversed: bool | None
    turns_left_loosen: QuantityDict | None
    turns_left_tighten: QuantityDict | None


@dataclass(kw_only=True, repr=False, eq=False)
class Instrument(Stored):
    """One instrument of a model."""

    bridge: BridgeLeft = field(default_factory=empty)
    handedness: Handedness = UNKNOWN
    home: Home | None = None
    made_in: int | None = None
    model: InstrumentModelBrief = field(default_factory=InstrumentModelBrief)
    model_id: str = ""
    named_consents: bool = False
    nickname: str | None = None
    notes: str | None = None
    owner_id: str = ""
    parts: list[WoodPart] = field(default_factory=list)
    serial: str | None = None
    string_set_id: str | None = None
    strings_fitted_on: date | None = None
    truss_rod: RodLeft = field(default_factory=empty)
    tuning_id: str | None = None
    typed: dict[str, Quantity] = field(default_factory=dict)

"""Records of services, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from ..._extras import HasSlots
from ..._wire import Record, Stored
from ..words import InstrumentKind, Skill


@dataclass(kw_only=True, repr=False, eq=False)
class Slot(Record):
    """A drop-off slot with room in it."""

    at: datetime | None = None
    """What a booking names."""
    places: int = 0
    """How many are left."""
    wall: str = ""
    """The same as the shop's clocks show it: YYYY-MM-DDThh:mm."""


@dataclass(kw_only=True, repr=False, eq=False)
class SlotDay(Record):
    """The free slots of a day."""

    day: date | None = None
    slots: list[Slot] = field(default_factory=list)


@dataclass(kw_only=True, repr=False, eq=False)
class Availability(HasSlots, Record):
    """What is free at the moment; only a booking decides."""

    days: list[SlotDay] = field(default_factory=list)
    """Days on which nothing is free are left out."""
    first: date | None = None
    last: date | None = None
    service_id: str = ""
    zone: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class Service(Stored):
    """Something that the shop does for an owner."""

    active: bool = False
    """Whether it can be booked; a website sees no others."""
    ahead_days: int = 0
    """How far ahead it can be booked [day]."""
    bench_minutes: int = 0
    """Time at the bench [min]; the instrument stays until the promised day."""
    currency: str = ""
    """A code of ISO 4217."""
    description: str | None = None
    kinds: list[InstrumentKind] = field(default_factory=list)
    """What it is for; empty for any kind."""
    lead_days: int = 0
    """Opening days from drop-off to the promised day [day]."""
    name: str = ""
    notice_minutes: int = 0
    """How long before the slot it must be booked [min]."""
    places: int = 0
    """How many instruments are taken in at one slot."""
    places_per_day: int | None = None
    """Null for no such limit."""
    price: float | None = None
    """Null when it is told at the counter."""
    price_from: bool = False
    """Whether the price is where it starts."""
    skills: list[Skill] = field(default_factory=list)
    step_minutes: int = 0
    """From one drop-off slot to the next [min]."""

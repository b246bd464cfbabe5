"""What the service answers with of services, free slots, bookings, webhooks and events."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from ._records import Stored
from ._wire import Record


@dataclass(kw_only=True)
class Service(Stored):
    """Something that the shop does for an owner."""

    name: str = ""
    description: str | None = None
    kinds: list[str] = field(default_factory=list)
    skills: list[str] = field(default_factory=list)
    bench_minutes: int = 0
    price: float | None = None
    price_from: bool = False
    currency: str = ""
    lead_days: int = 0
    notice_minutes: int = 0
    ahead_days: int = 0
    step_minutes: int = 0
    places: int = 0
    places_per_day: int | None = None
    active: bool = True


@dataclass(kw_only=True)
class Slot(Record):
    """A drop-off slot with room in it."""

    at: datetime | None = None
    wall: str = ""
    """As the shop's clocks show it: YYYY-MM-DDThh:mm."""
    places: int = 0


@dataclass(kw_only=True)
class SlotDay(Record):
    """The free slots of a day."""

    day: date | None = None
    slots: list[Slot] = field(default_factory=list)


@dataclass(kw_only=True)
class Availability(Record):
    """What is free at the moment; only a booking decides."""

    service_id: str = ""
    zone: str = ""
    first: date | None = None
    last: date | None = None
    days: list[SlotDay] = field(default_factory=list)

    @property
    def slots(self) -> list[Slot]:
        """Every free slot, one after the other."""
        return [slot for day in self.days for slot in day.slots]


@dataclass(kw_only=True)
class BookedInstrument(Record):
    """What the owner said of the instrument."""

    kind: str | None = None
    maker: str | None = None
    model: str | None = None
    serial: str | None = None
    description: str | None = None


@dataclass(kw_only=True)
class BookedJob(Record):
    """The state of a booking's job."""

    id: str = ""
    number: int = 0
    state: str = ""
    waiting_for: str | None = None
    promised_on: date | None = None


@dataclass(kw_only=True)
class Booking(Stored):
    """A drop-off slot that is held or booked."""

    state: str = ""
    service_id: str = ""
    service: str = ""
    at: datetime | None = None
    wall: str = ""
    zone: str = ""
    day: date | None = None
    hold_until: datetime | None = None
    price: float | None = None
    price_from: bool = False
    currency: str = ""
    promised_on: date | None = None
    cancel_reason: str | None = None
    instrument: BookedInstrument | None = None
    job: BookedJob | None = None
    owner_id: str | None = None
    instruments: list[str] = field(default_factory=list)
    card_path: str | None = None
    """Where the owner sees the instrument's way through the shop; in the answer that confirms alone."""


@dataclass(kw_only=True)
class CardLink(Stored):
    """An address of an owner's page."""

    job_id: str = ""
    expires_at: datetime | None = None
    revoked_at: datetime | None = None
    active: bool = False
    path: str | None = None
    """In the answer that makes it, and its repetition."""


@dataclass(kw_only=True)
class WebhookEndpoint(Stored):
    """An address that is told of events."""

    url: str = ""
    description: str | None = None
    types: list[str] = field(default_factory=list)
    active: bool = True
    disabled_reason: str | None = None
    former_secret_until: datetime | None = None
    secret: str | None = field(default=None, repr=False)
    """Shown once, in the answer that makes it."""


@dataclass(kw_only=True)
class EventObject(Record):
    """What an event happened to."""

    type: str = ""
    id: str = ""
    sequence: int = 0
    version: int | None = None


@dataclass(kw_only=True)
class Event(Record):
    """Something that happened, out of a webhook or the feed."""

    id: str = ""
    type: str = ""
    timestamp: datetime | None = None
    object: EventObject = field(default_factory=EventObject)
    data: dict[str, Any] = field(default_factory=dict)


@dataclass(kw_only=True)
class WebhookDelivery(Record):
    """One event on its way to one endpoint."""

    id: str = ""
    created_at: datetime | None = None
    endpoint_id: str = ""
    event_id: str = ""
    type: str = ""
    object: EventObject = field(default_factory=EventObject)
    state: str = ""
    attempts: int = 0
    due_at: datetime | None = None
    ended_at: datetime | None = None
    last_status: int | None = None
    last_error: str | None = None
    last_answer: str | None = None
    """The beginning of what the endpoint answered."""


@dataclass(kw_only=True)
class Events(Record):
    """A page of the feed."""

    items: list[Event] = field(default_factory=list)
    next: str | None = None
    cursor: str = ""
    """Keep it, and ask again with it later."""

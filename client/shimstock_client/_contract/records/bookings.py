"""Records of bookings, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from ..._wire import UNKNOWN, Record, Stored
from ..words import BookingState, InstrumentKind, JobState, WaitingFor


@dataclass(kw_only=True, repr=False, eq=False)
class BookedInstrument(Record):
    """What the owner said of the instrument."""

    description: str | None = None
    kind: InstrumentKind | None = None
    maker: str | None = None
    model: str | None = None
    serial: str | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class BookedJob(Stored):
    """The state of a booking's job."""

    number: int = 0
    promised_on: date | None = None
    state: JobState = UNKNOWN
    """Booked until it is brought; received and queued: it waits for a bench; on-bench, settling and final-
    check: it is worked on; waiting: see waiting_for; ready: it can be fetched; collected.
    """
    waiting_for: WaitingFor | None = None
    """The owner's yes (consent), parts, or the owner's answer."""


@dataclass(kw_only=True, repr=False, eq=False)
class Booking(Stored):
    """A drop-off slot that is held or booked."""

    at: datetime | None = None
    cancel_reason: str | None = None
    currency: str = ""
    day: date | None = None
    """Of the drop-off."""
    hold_until: datetime | None = None
    """While it is held; null otherwise."""
    instrument: BookedInstrument = field(default_factory=BookedInstrument)
    instruments: list[str] = field(default_factory=list)
    """Known instruments with the serial number that was told; for the shop's own keys alone."""
    job: BookedJob | None = None
    """From the confirmation on."""
    owner_id: str | None = None
    """For the shop's own keys alone."""
    price: float | None = None
    """As it was when the slot was taken."""
    price_from: bool = False
    promised_on: date | None = None
    """When it should be ready."""
    service: str = ""
    """Its name."""
    service_id: str = ""
    state: BookingState = UNKNOWN
    """held until hold_until, then expired; confirmed; checked-in once the instrument is brought;
    cancelled; no-show when nobody came.
    """
    wall: str = ""
    """The slot as the shop's clocks show it."""
    zone: str = ""
    """Of the shop's clocks, in the IANA database."""
    card_path: str | None = field(default=None, repr=False)
    """Where the owner sees the instrument's way through the shop: /cards/…. A repetition under the same
    Idempotency-Key shows it again, while it opens the page; null once the service's secret was changed:
    then `POST /v1/bookings/{id}/card-links` makes another.
    """

"""What can be booked, what was booked, and the two capacities that a booking takes from."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, Index, String, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from ..words import BookingState
from .base import Base, Json, Versioned, check, words

HELD = "state = 'held'"
WITH_JOB = "job_id IS NOT NULL"


class Service(Versioned, Base):
    """Something that the shop does for an owner, and the rules under which it is booked."""

    __tablename__ = "services"
    __table_args__ = (
        UniqueConstraint("name"),
        check("bench_minutes > 0", "bench_minutes"),
        check("price IS NULL OR price >= 0", "price"),
        check("step_minutes > 0", "step_minutes"),
        check("places > 0 AND (places_per_day IS NULL OR places_per_day > 0)", "places"),
    )

    name: Mapped[str] = mapped_column(String(200))
    description: Mapped[str | None] = mapped_column(String(2000))
    kinds: Mapped[list[Any]] = mapped_column(Json, default=list)
    """The kinds of instrument that it is for; empty means any."""
    skills: Mapped[list[Any]] = mapped_column(Json, default=list)
    """What a technician must be able to do for it."""
    bench_minutes: Mapped[int]
    price: Mapped[float | None]
    price_from: Mapped[bool] = mapped_column(default=False)
    """Whether the price is where it starts."""
    lead_days: Mapped[int] = mapped_column(default=2)
    """Opening days from drop-off to the promised day."""
    notice_minutes: Mapped[int] = mapped_column(default=60)
    """How long before the slot it must be booked."""
    ahead_days: Mapped[int] = mapped_column(default=60)
    """How far ahead it can be booked."""
    step_minutes: Mapped[int] = mapped_column(default=30)
    """From one drop-off slot to the next."""
    places: Mapped[int] = mapped_column(default=1)
    """How many instruments are taken in at one slot."""
    places_per_day: Mapped[int | None]
    active: Mapped[bool] = mapped_column(default=True)


class Booking(Versioned, Base):
    """A drop-off slot that somebody holds or has booked; who they are stands with their owner row."""

    __tablename__ = "bookings"
    __table_args__ = (
        check("(state = 'held') = (hold_until IS NOT NULL)", "held_until"),
        check("state IN ('held', 'expired') OR job_id IS NOT NULL OR state = 'cancelled'", "with_its_job"),
        check("minutes > 0", "minutes"),
        Index("uq_bookings_job_id", "job_id", unique=True,
              sqlite_where=text(WITH_JOB), postgresql_where=text(WITH_JOB)),
        Index("ix_bookings_held", "day", "hold_until", sqlite_where=text(HELD), postgresql_where=text(HELD)),
        Index("ix_bookings_created_at", "created_at", "id"),
        Index("ix_bookings_site_id", "site_id", "created_at", "id"),
        Index("ix_bookings_owner_id", "owner_id"),
    )  # fmt: skip

    service_id: Mapped[UUID] = mapped_column(ForeignKey("services.id"))
    site_id: Mapped[UUID | None]
    """The website that booked it (`api_keys.site_id`); null when the shop did."""
    key_id: Mapped[UUID | None] = mapped_column(ForeignKey("api_keys.id"))
    state: Mapped[BookingState] = mapped_column(words(BookingState, "state"))
    at: Mapped[datetime]
    """The drop-off slot, as an instant."""
    wall: Mapped[str] = mapped_column(String(16))
    """The same as the shop's clocks show it: 2026-03-29T09:30."""
    zone: Mapped[str] = mapped_column(String(64))
    day: Mapped[date]
    minutes: Mapped[int]
    """Bench minutes that were set aside."""
    technician_id: Mapped[UUID] = mapped_column(ForeignKey("technicians.id"))
    """Whose bench minutes they are; any technician may do the job."""
    hold_until: Mapped[datetime | None]
    price: Mapped[float | None]
    price_from: Mapped[bool] = mapped_column(default=False)
    currency: Mapped[str] = mapped_column(String(3))
    promised_on: Mapped[date]
    owner_id: Mapped[UUID | None] = mapped_column(ForeignKey("owners.id"))
    job_id: Mapped[UUID | None] = mapped_column(ForeignKey("jobs.id"))
    instrument: Mapped[dict[str, Any]] = mapped_column(Json, default=dict, info={"personal": True})
    """What the website was told of the instrument: kind, maker, model, serial, description."""
    cancel_reason: Mapped[str | None] = mapped_column(String(500), info={"personal": True})
    """Why it was cancelled, in the words of whoever did: most often the owner's."""


class BookingPlace(Base):
    """One place of a slot, or of a service's day. It is there or it is not: nobody counts."""

    __tablename__ = "booking_places"
    __table_args__ = (
        check("n > 0", "n"),
        Index("ix_booking_places_booking_id", "booking_id"),
        {"info": {"audited": False}},
    )

    slot: Mapped[str] = mapped_column(String(80), primary_key=True)
    """The service's id, then the slot's instant or the day."""
    n: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    booking_id: Mapped[UUID] = mapped_column(ForeignKey("bookings.id"))


class BenchDay(Base):
    """The bench minutes of a technician's day that bookings have taken."""

    __tablename__ = "bench_days"
    __table_args__ = (check("used >= 0", "used"), {"info": {"audited": False}})

    day: Mapped[date] = mapped_column(primary_key=True)
    technician_id: Mapped[UUID] = mapped_column(ForeignKey("technicians.id"), primary_key=True)
    used: Mapped[int]


class Absence(Versioned, Base):
    """Days, or hours of one day, on which a technician is away."""

    __tablename__ = "absences"
    __table_args__ = (
        check("first <= last", "first_before_last"),
        check("(starts IS NULL) = (ends IS NULL)", "hours_in_pairs"),
        check("starts IS NULL OR (first = last AND starts < ends)", "hours_of_one_day"),
        Index("ix_absences_technician_id", "technician_id", "last"),
        Index("ix_absences_last", "last"),
    )

    technician_id: Mapped[UUID] = mapped_column(ForeignKey("technicians.id"))
    first: Mapped[date]
    last: Mapped[date]
    starts: Mapped[str | None] = mapped_column(String(5))
    """With `ends`: the hours of the one day, as local wall time; without them the whole of each day."""
    ends: Mapped[str | None] = mapped_column(String(5))

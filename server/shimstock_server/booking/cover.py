"""A technician is away after all: the bench minutes that were set aside go to colleagues who have room."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from uuid import UUID

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from shimstock_server import shop
from shimstock_server.database.tables.booking import BenchDay, Booking, Service
from shimstock_server.database.tables.shop import Technician
from shimstock_server.database.words import BookingState

from .capacity import minutes_at_work, open_spans, staff, take_minutes, workers

STANDING = (BookingState.HELD, BookingState.CONFIRMED, BookingState.CHECKED_IN)
"""The states in which a booking has bench minutes."""


def cover(session: Session, technician: Technician, first: date, last: date | None) -> list[Booking]:
    """Hand over bench minutes that a technician cannot work; return the bookings nobody has room for.

    Which colleague's minutes they are is the shop's own reckoning: any technician may do the job.

    Parameters
    ----------
    first, last : date
        The days; without a last one all that are to come.
    """
    left: list[Booking] = []
    days = select(BenchDay.day).where(BenchDay.technician_id == technician.id, BenchDay.day >= first)
    if last is not None:
        days = days.where(BenchDay.day <= last)
    for day in session.scalars(days.where(BenchDay.used > 0).order_by(BenchDay.day)).all():
        left += _cover_day(session, technician, day)
    return left


def _cover_day(session: Session, technician: Technician, day: date) -> list[Booking]:
    here = staff(session, day, day)
    has = minutes_at_work(technician, day, open_spans(session, day), here) if technician.active else 0
    standing = (
        select(Booking)
        .where(Booking.technician_id == technician.id, Booking.day == day, Booking.state.in_(STANDING))
        .order_by(Booking.created_at.desc(), Booking.id.desc())
        .with_for_update()
    )
    bookings = list(session.scalars(standing))
    used = sum(booking.minutes for booking in bookings)
    left: list[Booking] = []
    for booking in bookings:
        if used <= has:
            return []
        service = session.get_one(Service, booking.service_id)
        others = [
            each for each in workers(session, service, day, here) if each.technician_id != technician.id
        ]
        found = take_minutes(session, others, day, booking.minutes)
        if found is None:
            left.append(booking)
            continue
        _hand_over(session, booking, found)
        used -= booking.minutes
    return left if used > has else []


def _hand_over(session: Session, booking: Booking, technician_id: UUID) -> None:
    session.execute(
        update(BenchDay)
        .where(BenchDay.day == booking.day, BenchDay.technician_id == booking.technician_id)
        .values(used=BenchDay.used - booking.minutes)
        .execution_options(synchronize_session=False)
    )
    booking.technician_id = technician_id
    session.flush()


@shop.on_roster
def cover_days_ahead(session: Session, technician: Technician, today: date) -> None:
    """Hand over what a technician with other shifts, or who has left, cannot work any more."""
    cover(session, technician, today, None)


def ids_of(bookings: Iterable[Booking]) -> list[UUID]:
    """Return the ids of bookings, the earliest drop-off first."""
    return [booking.id for booking in sorted(bookings, key=lambda each: (each.at, str(each.id)))]

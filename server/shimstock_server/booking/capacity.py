"""The two capacities: places of a slot, and bench minutes of a technician's day.

Both are taken by a statement that either succeeds or changes nothing, never by counting first: two people who
ask at the same moment cannot both get the last one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import delete, func, select, update
from sqlalchemy.dialects.postgresql import insert as postgresql_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.orm import Session

from shimstock_server.database.tables.booking import Absence, BenchDay, Booking, BookingPlace, Service
from shimstock_server.database.tables.shop import Technician
from shimstock_server.database.words import BookingState
from shimstock_server.shop import opening, settings, span

from .slots import Slot

Span = tuple[datetime, datetime]
"""From when to when."""


@dataclass(frozen=True)
class Worker:
    """A technician who can do a service on a day."""

    technician_id: UUID
    skills: int
    """How many skills; who has fewer is asked first, so that the others stay free."""
    minutes: int
    """At work while the shop is open [min]."""


def slot_key(service_id: UUID, at: datetime) -> str:
    """Return what stands for a slot in the places."""
    return f"{service_id} {at:%Y-%m-%dT%H:%MZ}"


def day_key(service_id: UUID, day: date) -> str:
    """Return what stands for a service's day in the places."""
    return f"{service_id} {day.isoformat()}"


# ------------------------------------------------------------ what there is


@dataclass(frozen=True)
class Staff:
    """Who works here, and who of them is away when."""

    technicians: Sequence[Technician]
    absences: Sequence[Absence]

    def away(self, technician_id: UUID, day: date) -> list[Absence]:
        """The absences of a technician that touch a day."""
        return [
            each
            for each in self.absences
            if each.technician_id == technician_id and each.first <= day <= each.last
        ]


def staff(session: Session, first: date, last: date, *, for_change: bool = False) -> Staff:
    """The technicians who work here, with their absences from a day to another.

    For a change their rows are locked against who changes shifts or adds absences, where the database can:
    minutes are not taken of a day that is being taken away.
    """
    query = select(Technician).where(Technician.active).order_by(Technician.id)
    technicians = list(session.scalars(query.with_for_update(read=True) if for_change else query))
    absences = select(Absence).where(Absence.last >= first, Absence.first <= last)
    return Staff(technicians, list(session.scalars(absences)))


def workers(session: Session, service: Service, day: date, staff: Staff) -> list[Worker]:
    """The technicians who can do a service on a day, those with the fewest skills first."""
    wanted = set(service.skills)
    spans = open_spans(session, day)
    found = []
    for technician in staff.technicians:
        has = {each.skill.value for each in technician.skills}
        minutes = minutes_at_work(technician, day, spans, staff) if wanted <= has else 0
        if minutes:
            found.append(Worker(technician.id, len(has), minutes))
    return sorted(found, key=lambda worker: (worker.skills, str(worker.technician_id)))


@dataclass(frozen=True)
class OpenSpans:
    """When the shop is open on a day, as instants, and the zone of its clocks."""

    spans: Sequence[Span]
    zone: ZoneInfo


def open_spans(session: Session, day: date) -> OpenSpans:
    """Look up when the shop is open on a day."""
    return OpenSpans(opening(session, day), ZoneInfo(settings(session).zone))


def minutes_at_work(technician: Technician, day: date, opened: OpenSpans, staff: Staff) -> int:
    """How long a technician is at work on a day while the shop is open [min]."""
    absences = staff.away(technician.id, day)
    if any(each.starts is None for each in absences):
        return 0
    away = [
        span(day, each.starts, each.ends, opened.zone)
        for each in absences
        if each.starts is not None and each.ends is not None
    ]
    seconds = 0.0
    for shift in technician.shifts:
        if shift["weekday"] == day.isoweekday():
            working = span(day, shift["starts"], shift["ends"], opened.zone)
            for each in opened.spans:
                at_work = _common(working, each)
                seconds += _seconds(at_work) - sum(_seconds(_common(at_work, gone)) for gone in away)
    return int(seconds // 60)


def _common(one: Span, other: Span) -> Span:
    return max(one[0], other[0]), min(one[1], other[1])


def _seconds(of: Span) -> float:
    return max(0.0, (of[1] - of[0]).total_seconds())


# ------------------------------------------------------------ what is left, as a hint


@dataclass(frozen=True)
class Taken:
    """What bookings have taken of a service's days, and of everybody's."""

    places: dict[str, int]
    minutes: dict[tuple[date, UUID], int]


def taken(session: Session, service: Service, first: date, last: date, now: datetime) -> Taken:
    """Look up what is taken from a day to another; a hold whose time has come counts as free."""
    gone = (Booking.state == BookingState.HELD) & (Booking.hold_until <= now)
    on_days = (Booking.day >= first, Booking.day <= last)
    places = session.execute(
        select(BookingPlace.slot, func.count())
        .join(Booking, Booking.id == BookingPlace.booking_id)
        .where(Booking.service_id == service.id, *on_days, ~gone)
        .group_by(BookingPlace.slot)
    )
    used = session.execute(
        select(BenchDay.day, BenchDay.technician_id, BenchDay.used).where(
            BenchDay.day >= first, BenchDay.day <= last
        )
    )
    free_again = session.execute(
        select(Booking.day, Booking.technician_id, func.sum(Booking.minutes))
        .where(*on_days, gone)
        .group_by(Booking.day, Booking.technician_id)
    )
    minutes = {(day, technician): count for day, technician, count in used}
    for day, technician, count in free_again:
        minutes[day, technician] = minutes.get((day, technician), 0) - int(count)
    return Taken({slot: int(count) for slot, count in places}, minutes)


# ------------------------------------------------------------ taking and giving back


def _insert_or_nothing(session: Session, table: Any, values: dict[str, Any]) -> bool:
    """Insert a row, or nothing when it is there; another writer's row that is on its way is waited for."""
    insert = sqlite_insert if session.get_bind().dialect.name == "sqlite" else postgresql_insert
    key = next(iter(table.__table__.primary_key.columns))
    statement = insert(table).values(values).on_conflict_do_nothing().returning(key)
    return session.execute(statement).first() is not None


def take_place(session: Session, key: str, places: int, booking_id: UUID) -> bool:
    """Take one place of a slot or a day; tell whether there was one."""
    there = set(session.scalars(select(BookingPlace.n).where(BookingPlace.slot == key)))
    return any(
        _insert_or_nothing(session, BookingPlace, {"slot": key, "n": n, "booking_id": booking_id})
        for n in range(1, places + 1)
        if n not in there
    )


def take_minutes(session: Session, able: Iterable[Worker], day: date, minutes: int) -> UUID | None:
    """Take bench minutes of one technician's day, and return whose; None when nobody has that many left."""
    for worker in able:
        _insert_or_nothing(session, BenchDay, {"day": day, "technician_id": worker.technician_id, "used": 0})
        took = session.execute(
            update(BenchDay)
            .where(BenchDay.day == day, BenchDay.technician_id == worker.technician_id)
            .where(BenchDay.used + minutes <= worker.minutes)
            .values(used=BenchDay.used + minutes)
            .returning(BenchDay.used)
            .execution_options(synchronize_session=False)
        ).first()
        if took is not None:
            return worker.technician_id
    return None


def give_back(session: Session, booking: Booking) -> None:
    """Free the places and the bench minutes that a booking has taken."""
    session.flush()
    session.execute(
        delete(BookingPlace)
        .where(BookingPlace.booking_id == booking.id)
        .execution_options(synchronize_session=False)
    )
    session.execute(
        update(BenchDay)
        .where(BenchDay.day == booking.day, BenchDay.technician_id == booking.technician_id)
        .values(used=BenchDay.used - booking.minutes)
        .execution_options(synchronize_session=False)
    )


def take_places(session: Session, service: Service, slot: Slot, booking_id: UUID) -> bool:
    """Take a place of the slot, and one of the day where the service counts them.

    The caller undoes the transaction when one of them is not to be had.
    """
    if not take_place(session, slot_key(service.id, slot.at), service.places, booking_id):
        return False
    return service.places_per_day is None or take_place(
        session, day_key(service.id, slot.day), service.places_per_day, booking_id
    )

"""A booking as it is answered: to a website without what the shop keeps to itself."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Select, and_, or_, select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.booking import Booking, Service
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import BookingState
from shimstock_server.jobs import NO_PROMISE
from shimstock_server.keys import site_of
from shimstock_server.web.context import Actor

from .arrival import known_instruments
from .holds import has_expired

INSTRUMENT = ("kind", "maker", "model", "serial", "description")
PLAIN = (
    "id", "version", "created_at", "updated_at", "service_id", "at", "wall", "zone", "day", "price",
    "price_from", "currency", "promised_on", "cancel_reason",
)  # fmt: skip


def is_visible(session: Session, actor: Actor, booking_id: UUID) -> bool:
    """Whether a key may see a booking: the shop's keys all of them, a website's its own."""
    found = session.execute(select(Booking.site_id).where(Booking.id == booking_id)).one_or_none()
    if found is None:
        return False
    return actor.scope != "booking" or found.site_id == site_of(session, actor)


def selected(session: Session, query: dict[str, Any], *, actor: Actor, now: datetime) -> Select[Any]:
    """Select the bookings that a key asks for."""
    statement = select(Booking)
    if actor.scope == "booking":
        statement = statement.where(Booking.site_id == site_of(session, actor))
    if "service_id" in query:
        statement = statement.where(Booking.service_id == query["service_id"])
    if "first" in query:
        statement = statement.where(Booking.day >= query["first"])
    if "last" in query:
        statement = statement.where(Booking.day <= query["last"])
    if "number" in query:
        statement = statement.where(Booking.job_id.in_(select(Job.id).where(Job.number == query["number"])))
    if "serial" in query:
        statement = statement.where(_of_serial(query["serial"], actor))
    state = query.get("state")
    if state is BookingState.HELD:
        statement = statement.where(Booking.state == state, Booking.hold_until > now)
    elif state is BookingState.EXPIRED:
        gone = and_(Booking.state == BookingState.HELD, Booking.hold_until <= now)
        statement = statement.where(or_(Booking.state == state, gone))
    elif state is not None:
        statement = statement.where(Booking.state == state)
    return statement


def _of_serial(serial: str, actor: Actor) -> ColumnElement[bool]:
    as_told: ColumnElement[bool] = Booking.instrument["serial"].as_string() == serial
    if actor.scope == "booking":
        return as_told  # what the shop knows of the instrument is not for a website to guess
    known = (
        select(Job.id).join(Instrument, Instrument.id == Job.instrument_id).where(Instrument.serial == serial)
    )
    return or_(as_told, Booking.job_id.in_(known))


def told(session: Session, booking: Booking, *, actor: Actor, now: datetime) -> dict[str, Any]:
    """Return a booking as it is answered to a key."""
    own = actor.scope != "booking"
    expired = has_expired(booking, now)
    return {
        **{name: getattr(booking, name) for name in PLAIN},
        "state": BookingState.EXPIRED if expired else booking.state,
        "hold_until": None if expired else booking.hold_until,
        "service": session.get_one(Service, booking.service_id).name,
        "instrument": {name: booking.instrument.get(name) for name in INSTRUMENT},
        "job": _job(session, booking),
        "owner_id": booking.owner_id if own else None,
        "instruments": known_instruments(session, booking) if own else [],
    }


def _job(session: Session, booking: Booking) -> dict[str, Any] | None:
    if booking.job_id is None:
        return None
    job = session.get_one(Job, booking.job_id)
    return {
        "id": job.id,
        "number": job.number,
        "state": job.state,
        "waiting_for": job.waiting_for,
        "promised_on": None if job.promised_on == NO_PROMISE else job.promised_on,
    }

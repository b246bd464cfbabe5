"""A booking's way: held for some minutes, confirmed, moved, cancelled, missed."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from shimstock_server import cards, jobs, owners
from shimstock_server.clock import Clock
from shimstock_server.config import Config
from shimstock_server.database.history import emit
from shimstock_server.database.session import Database
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.booking import Booking, Service
from shimstock_server.database.tables.cards import CardLink
from shimstock_server.database.tables.jobs import Job, JobMove
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import BookingState, JobState, Kind
from shimstock_server.keys import site_of
from shimstock_server.shop import settings
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields

from . import capacity
from .availability import next_slots
from .problems import BookingSettled, HoldEnded, NoPlace, NotYetMissed
from .slots import Slot, find_slot, promised_day

HOLD = timedelta(minutes=10)
NO_SHOW = "no-show"
AT_ONCE = 200
"""Holds that the worker lets go in one transaction."""


def load(session: Session, booking_id: UUID, *, for_change: bool = False) -> Booking:
    """Load a booking that is known to exist; for a change its row is locked, where the database can."""
    query = select(Booking).where(Booking.id == booking_id)
    return session.scalars(query.with_for_update() if for_change else query).one()


def has_expired(booking: Booking, now: datetime) -> bool:
    """Whether a hold's time has come: the clock decides, whether or not anybody has noted it."""
    return booking.state is BookingState.HELD and booking.hold_until is not None and booking.hold_until <= now


# ------------------------------------------------------------ holds


def hold(session: Session, wish: dict[str, Any], *, actor: Actor, now: datetime) -> Booking:
    """Take a slot for ten minutes.

    Raises
    ------
    InvalidFields
        When there is no such service, or the instant is not one of its slots.
    NoPlace
        When nothing is left of it.
    """
    service = session.get(Service, wish["service_id"])
    if service is None or not service.active:
        raise InvalidFields.at("/service_id", "is no service that can be booked")
    slot = _slot(session, service, wish["at"], now)
    booking = Booking(
        id=new_id(),
        service_id=service.id,
        site_id=site_of(session, actor),
        key_id=actor.key_id,
        state=BookingState.HELD,
        hold_until=now + HOLD,
        minutes=service.bench_minutes,
        price=service.price,
        price_from=service.price_from,
        currency=settings(session).currency,
        instrument={},
    )
    _let_go(session, slot.day, now)
    _occupy(session, service, booking, slot, now)
    session.flush()
    emit(session, "booking.held", booking, state=booking.state, service=service.id, at=booking.at)
    return booking


def _slot(session: Session, service: Service, at: datetime, now: datetime) -> Slot:
    slot = find_slot(session, service, at, now)
    if isinstance(slot, str):
        raise InvalidFields.at("/at", slot)
    return slot


def _occupy(session: Session, service: Service, booking: Booking, slot: Slot, now: datetime) -> None:
    """Take bench minutes and a place of the slot, and write it to the booking."""
    here = capacity.staff(session, slot.day, slot.day, for_change=True)
    able = capacity.workers(session, service, slot.day, here)
    technician = capacity.take_minutes(session, able, slot.day, booking.minutes)
    if technician is None:
        raise _no_place(session, service, slot.day, now)
    booking.at, booking.wall, booking.zone, booking.day = slot.at, slot.wall, slot.zone, slot.day
    booking.technician_id = technician
    booking.promised_on = promised_day(session, service, slot.day)
    session.add(booking)
    session.flush()
    if not capacity.take_places(session, service, slot, booking.id):
        raise _no_place(session, service, slot.day, now)


def _no_place(session: Session, service: Service, near: date, now: datetime) -> NoPlace:
    return NoPlace(next_slots=next_slots(session, service, near, now=now))


def _let_go(session: Session, day: date, now: datetime) -> int:
    """Note the holds of a day whose time has come, and free what they took."""
    gone = select(Booking).where(Booking.state == BookingState.HELD, Booking.hold_until <= now)
    return _expire(session, gone.where(Booking.day == day))


def _expire(session: Session, gone: Select[Any]) -> int:
    count = 0
    for booking in session.scalars(gone.order_by(Booking.id).with_for_update()):
        booking.state, booking.hold_until = BookingState.EXPIRED, None
        capacity.give_back(session, booking)
        emit(session, "booking.expired", booking, state=booking.state)
        count += 1
    return count


def let_holds_go(database: Database, config: Config, clock: Clock) -> int:
    """Free what expired holds took; the worker's round. Nobody waits for it: the clock decides anyway."""
    now = clock.now()
    with database.write({"now": now, "secret": config.secret}) as session:
        gone = select(Booking).where(Booking.state == BookingState.HELD, Booking.hold_until <= now)
        return _expire(session, gone.limit(AT_ONCE))


# ------------------------------------------------------------ confirming


def confirm(session: Session, booking: Booking, wish: dict[str, Any], *, actor: Actor, now: datetime) -> str:
    """Make a hold firm: its job is opened, booked, and its owner's page gets an address.

    Returns
    -------
    str
        The path of the owner's page.

    Raises
    ------
    HoldEnded
        When the hold's time has come.
    BookingSettled
        When it is no hold any more.
    InvalidFields
        When the instrument is not one that the service is for, or nobody brings it.
    """
    service = session.get_one(Service, booking.service_id)
    if booking.state is BookingState.EXPIRED or has_expired(booking, now):
        raise HoldEnded(next_slots=next_slots(session, service, booking.day, now=now))
    if booking.state is not BookingState.HELD:
        raise BookingSettled(f"This booking is {booking.state} already.")
    link, followed = _followed(session, wish, actor=actor, now=now)
    _check_instrument(session, service, wish, followed)
    owner_id = followed.owner_id if followed is not None else _owner(session, wish["owner"])
    job = jobs.check_in(
        session,
        jobs.JobIn().load(
            {
                "state": JobState.BOOKED.value,
                "services": [service.name[:100]],
                "estimated_minutes": booking.minutes,
                "skills": list(service.skills),
                "promised_on": booking.promised_on.isoformat(),
                "complaints": wish["complaints"],
                "wants": wish["wants"],
                "owner_id": None if owner_id is None else str(owner_id),
                "instrument_id": None if followed is None else str(followed.instrument_id),
                "follows_id": None if followed is None else str(followed.id),
            }
        ),
        actor=actor,
        now=now,
    )
    booking.state, booking.hold_until = BookingState.CONFIRMED, None
    booking.job_id, booking.owner_id = job.id, owner_id
    booking.instrument = {
        name: value.value if isinstance(value, Kind) else value
        for name, value in wish["instrument"].items()
        if value is not None
    }
    session.flush()
    emit(
        session, "booking.confirmed", booking,
        state=booking.state, service=service.id, at=booking.at, job=job.id,
    )  # fmt: skip
    return cards.make_link(session, job, actor=actor, now=now, derived_from=link)[1]


def _followed(
    session: Session, wish: dict[str, Any], *, actor: Actor, now: datetime
) -> tuple[CardLink, Job] | tuple[None, None]:
    """Return the job of which this is the recheck, and the address of its owner's page that names it."""
    if wish["recheck_of"] is None:
        if wish["owner"] is None:
            raise InvalidFields.at("/owner", "is required: say who brings the instrument")
        return None, None
    link = cards.find_for_recheck(session, wish["recheck_of"], actor=actor, now=now)
    job = None if link is None else session.get_one(Job, link.job_id)
    if link is None or job is None or job.instrument_id is None:
        raise InvalidFields.at(
            "/recheck_of", "is no address of an owner's page that this key may use, or one that has ended"
        )
    return link, job


def _check_instrument(session: Session, service: Service, wish: dict[str, Any], followed: Job | None) -> None:
    kind = wish["instrument"]["kind"]
    if followed is not None:
        kind = session.get_one(Instrument, followed.instrument_id).model.kind
    if service.kinds and kind is not None and kind.value not in service.kinds:
        raise InvalidFields.at(
            "/instrument/kind", f"{service.name} is for {', '.join(service.kinds)}, not for {kind.value}"
        )


def _owner(session: Session, told: dict[str, Any]) -> UUID:
    """Add the owner: always as a new one, since anybody can type anybody's name and address."""
    shop = settings(session)
    return owners.add_owner(
        session,
        {
            "name": told["name"],
            "email": told["email"],
            "phone": told["phone"],
            "note": None,
            "units": told["units"] or shop.units,
            "language": told["language"] or shop.language,
        },
    ).id


# ------------------------------------------------------------ moving and ending


def move(session: Session, booking: Booking, at: datetime, *, now: datetime) -> Booking:
    """Give a booking another slot of its service; the old one is free at once.

    Raises
    ------
    NoPlace
        When nothing is left of the new one; then the booking stays as it was.
    """
    service = session.get_one(Service, booking.service_id)
    _must_be_open(booking, now)
    slot = _slot(session, service, at, now)
    if slot.at == booking.at:
        return booking
    _let_go(session, slot.day, now)
    capacity.give_back(session, booking)
    booking.minutes = service.bench_minutes
    _occupy(session, service, booking, slot, now)
    if booking.job_id is not None:
        job = jobs.load_job(session, booking.job_id, for_change=True)
        jobs.change_job(session, job, {"promised_on": booking.promised_on})
    session.flush()
    emit(session, "booking.moved", booking, state=booking.state, at=booking.at, job=booking.job_id)
    return booking


def cancel(session: Session, booking: Booking, reason: str | None, *, actor: Actor, now: datetime) -> Booking:
    """Take a booking back; its slot is free at once."""
    _must_be_open(booking, now)
    booking.cancel_reason = reason
    if booking.job_id is None:
        booking.state, booking.hold_until = BookingState.CANCELLED, None
        capacity.give_back(session, booking)
        emit(session, "booking.cancelled", booking, state=booking.state, job=None)
        return booking
    # The owner's own words stand with the booking alone: a move is never changed, so none may stand there.
    return _cancel_job(session, booking, "the booking was cancelled", actor=actor, now=now)


def miss(session: Session, booking: Booking, *, actor: Actor, now: datetime) -> Booking:
    """Note that nobody came.

    Raises
    ------
    NotYetMissed
        Before the slot has passed.
    """
    if booking.state is not BookingState.CONFIRMED:
        raise BookingSettled(f"Only a confirmed booking can be missed; this one is {booking.state}.")
    if booking.at > now:
        raise NotYetMissed
    return _cancel_job(session, booking, NO_SHOW, actor=actor, now=now)


def _cancel_job(session: Session, booking: Booking, reason: str, *, actor: Actor, now: datetime) -> Booking:
    if booking.job_id is not None:
        job = jobs.load_job(session, booking.job_id, for_change=True)
        jobs.move_job(session, job, {"to": JobState.CANCELLED, "reason": reason}, actor=actor, now=now)
    session.flush()
    return booking


def _must_be_open(booking: Booking, now: datetime) -> None:
    if has_expired(booking, now) or booking.state not in (BookingState.HELD, BookingState.CONFIRMED):
        state = "expired" if has_expired(booking, now) else booking.state.value
        raise BookingSettled(f"This booking is {state}; nothing can be changed any more.")


@jobs.on_move
def follow(session: Session, job: Job, move: JobMove) -> None:
    """Let a booking follow its job: received is checked in, cancelled frees the slot."""
    if move.from_state is not JobState.BOOKED:
        return
    booking = session.scalars(select(Booking).where(Booking.job_id == job.id)).one_or_none()
    if booking is None or booking.state is not BookingState.CONFIRMED:
        return
    if move.to_state is JobState.RECEIVED:
        booking.state = BookingState.CHECKED_IN
        told = "booking.checked-in"
    else:
        missed = move.reason == NO_SHOW
        booking.state = BookingState.NO_SHOW if missed else BookingState.CANCELLED
        told = "booking.no-show" if missed else "booking.cancelled"
        capacity.give_back(session, booking)
    emit(session, told, booking, state=booking.state, job=job.id)

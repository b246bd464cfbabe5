"""The instrument is brought: known by its serial number, or new."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server import jobs, owners
from shimstock_server.database.tables.booking import Booking
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument, Owner
from shimstock_server.database.words import BookingState, JobState
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields

from .problems import BookingSettled

MOST_NAMED = 5


def known_instruments(session: Session, booking: Booking) -> list[UUID]:
    """The instruments of the shop that have the serial number which was told."""
    serial = booking.instrument.get("serial")
    if serial is None:
        return []
    query = select(Instrument.id).where(Instrument.serial == serial).order_by(Instrument.id)
    return list(session.scalars(query.limit(MOST_NAMED)))


def check_in(
    session: Session, booking: Booking, wish: dict[str, Any], *, actor: Actor, now: datetime
) -> Booking:
    """Move a booked job to received, with its instrument and its owner.

    Raises
    ------
    BookingSettled
        When the booking is not confirmed, or checked in already.
    InvalidFields
        When it is not clear which instrument it is, or who the owner is.
    """
    if booking.state is not BookingState.CONFIRMED or booking.job_id is None:
        raise BookingSettled(f"Only a confirmed booking can be checked in; this one is {booking.state}.")
    job = jobs.load_job(session, booking.job_id, for_change=True)
    former = booking.owner_id
    owner_id = _owner(session, booking, wish)
    instrument_id = _instrument(session, booking, job, wish, owner_id)
    change: dict[str, Any] = {"owner_id": owner_id, "condition": wish["condition"], "room": wish["room"]}
    if job.instrument_id != instrument_id:
        change["instrument_id"] = instrument_id
    jobs.change_job(session, job, change)
    booking.owner_id = owner_id
    session.flush()
    for consent in wish["consents"]:
        jobs.add_consent(session, job, consent, actor=actor, now=now)
    jobs.move_job(session, job, {"to": JobState.RECEIVED}, actor=actor, now=now)
    if former is not None and former != owner_id:
        _drop(session, former, now=now)
    session.flush()
    return booking


def _owner(session: Session, booking: Booking, wish: dict[str, Any]) -> UUID:
    chosen: UUID | None = wish["owner_id"] or booking.owner_id
    owner = None if chosen is None else session.get(Owner, chosen)
    if owner is None or (owner.erased_at is not None and wish["owner_id"] is not None):
        raise InvalidFields.at("/owner_id", "is no owner of this shop; name who brings the instrument")
    return owner.id


def _instrument(session: Session, booking: Booking, job: Job, wish: dict[str, Any], owner_id: UUID) -> UUID:
    if wish["instrument_id"] is not None and wish["new_instrument"] is not None:
        raise InvalidFields.at("/new_instrument", "give either a known instrument or a new one")
    if wish["new_instrument"] is not None:
        body = owners.InstrumentIn().load(
            {"model_id": str(wish["new_instrument"]["model_id"]), "owner_id": str(owner_id)}
        )
        return owners.add_instrument(session, {**body, **wish["new_instrument"]}).id
    if wish["instrument_id"] is not None:
        if session.get(Instrument, wish["instrument_id"]) is None:
            raise InvalidFields.at("/instrument_id", "no instrument has this id")
        chosen: UUID = wish["instrument_id"]
        return chosen
    if job.instrument_id is not None:
        return job.instrument_id
    known = known_instruments(session, booking)
    if len(known) == 1:
        return known[0]
    told = booking.instrument.get("serial")
    raise InvalidFields.at(
        "/instrument_id",
        f"{len(known)} instruments have the serial number {told}; name the one that it is"
        if known
        else "the instrument is not known here; name one, or give `new_instrument`",
    )


def _drop(session: Session, owner_id: UUID, *, now: datetime) -> None:
    """Take out the owner whom the website made, once it is clear who it is, unless still needed."""
    needed = session.scalar(
        select(Instrument.id).where(Instrument.owner_id == owner_id).limit(1)
    ) or session.scalar(select(Job.id).where(Job.owner_id == owner_id).limit(1))
    if needed is None:
        owners.erase(session, session.get_one(Owner, owner_id), now=now, force=True)

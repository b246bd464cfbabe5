"""What a booking keeps in its owner's words, and how it is taken out."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.booking import Booking
from shimstock_server.owners import jobs_of, on_erasure
from shimstock_server.web import idempotency

WORDS = ("maker", "model", "serial", "description")
"""What was typed of the instrument; once it is checked in, the shop's own record says what it is."""


@on_erasure
def forget_owner(session: Session, owner_id: UUID) -> None:
    """Take an owner's words out of the bookings; which kind of instrument it was stays.

    Parameters
    ----------
    owner_id : UUID
        The owner who is erased: the bookings are those that name this owner, and those whose jobs are this
        owner's by now.
    """
    mine = or_(Booking.owner_id == owner_id, Booking.job_id.in_(jobs_of(owner_id)))
    told: dict[UUID, dict[str, Any]] = {}
    for booking in session.scalars(select(Booking).where(mine)):
        booking.instrument = {name: value for name, value in booking.instrument.items() if name not in WORDS}
        booking.cancel_reason = None
        told[booking.id] = {"instrument": dict.fromkeys(WORDS), "cancel_reason": None}
    idempotency.take_out(session, told)

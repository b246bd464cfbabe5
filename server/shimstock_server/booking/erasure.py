"""What a booking keeps in its owner's words, and how it is taken out."""

from __future__ import annotations

from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.booking import Booking
from shimstock_server.owners import on_erasure


@on_erasure
def forget_owner(session: Session, owner_id: UUID) -> None:
    """Take an owner's words out of the bookings; which instrument it was stays."""
    for booking in session.scalars(select(Booking).where(Booking.owner_id == owner_id)):
        booking.instrument = {
            name: value for name, value in booking.instrument.items() if name != "description"
        }

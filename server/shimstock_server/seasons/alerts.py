"""Warnings for a room itself: too dry, too damp, too fast; from when to when."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.room import RoomWarning, room_warnings
from shimstock_server.database.history import emit
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Keeping, Room, RoomAlert, RoomReading
from shimstock_server.shop import settings

LOOKS_BACK = timedelta(hours=48)
"""Of the log, for the room as it is now; a room without a reading that young has no warnings."""


def air_now(session: Session, room: Room, *, now: datetime) -> dict[str, Any]:
    """Return a room's newest reading and what it means for the instruments in it."""
    readings = _young(session, room.id, now)
    warnings = _warnings(session, readings)
    newest = readings[-1] if readings else None
    return {
        "room_id": room.id,
        "newest": None
        if newest is None
        else {
            "taken_at": newest.taken_at,
            "temperature": newest.temperature,
            "relative_humidity": newest.relative_humidity,
            "uncertainty": newest.uncertainty,
        },
        "fit_for_verdicts": newest is not None and not warnings,
        "warnings": [
            {"code": each.code, "value": each.value, "text": each.text, "since": None} for each in warnings
        ],
        "instruments": instruments_in(session, room.id),
    }


def instruments_in(session: Session, room_id: UUID) -> list[UUID]:
    """Return the instruments that live in a room."""
    return list(
        session.scalars(
            select(Keeping.instrument_id)
            .join(Instrument, Instrument.id == Keeping.instrument_id)
            .where(Keeping.room_id == room_id)
            .order_by(Keeping.instrument_id)
            .limit(500)
        )
    )


def _young(session: Session, room_id: UUID, now: datetime) -> list[RoomReading]:
    return list(
        session.scalars(
            select(RoomReading)
            .where(
                RoomReading.room_id == room_id,
                RoomReading.taken_at > now - LOOKS_BACK,
                RoomReading.taken_at <= now + timedelta(minutes=5),
            )
            .order_by(RoomReading.taken_at, RoomReading.id)
        )
    )


def _warnings(session: Session, readings: list[RoomReading]) -> list[RoomWarning]:
    if not readings:
        return []
    begins = readings[0].taken_at
    hours = [(each.taken_at - begins).total_seconds() / 3600.0 for each in readings]
    shop = settings(session)
    return room_warnings(
        hours,
        [each.relative_humidity for each in readings],
        low=shop.humidity_low,
        high=shop.humidity_high,
    )


def update_alerts(session: Session, room: Room, *, now: datetime) -> int:
    """Begin and end a room's warnings as its log has it now; return how many began."""
    standing = {
        alert.code: alert
        for alert in session.scalars(
            select(RoomAlert).where(RoomAlert.room_id == room.id, RoomAlert.ended_at.is_(None))
        )
    }
    found = {each.code: each for each in _warnings(session, _young(session, room.id, now))}
    for code, alert in standing.items():
        if code not in found:
            alert.ended_at = now
            emit(session, "room.warning-ended", room, code=code)
            continue
        worst = _worse(code, alert.value, found[code])
        alert.value, alert.meaning = worst.value, worst.text
    began = [each for code, each in found.items() if code not in standing]
    for each in began:
        session.add(
            RoomAlert(room_id=room.id, code=each.code, since=now, value=each.value, meaning=each.text)
        )
        session.flush()
        count = len(instruments_in(session, room.id))
        emit(session, "room.warning", room, code=each.code, value=round(each.value, 1), instruments=count)
    return len(began)


def _worse(code: str, before: float, now: RoomWarning) -> RoomWarning:
    """The warning with the value that stands further out."""
    dry = code in ("too-dry", "laminates-may-split")
    further = min(before, now.value) if dry else max(before, now.value)
    return replace(now, value=further)

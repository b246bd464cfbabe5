"""Calendars for calendar programs: RFC 5545, under an address that only its holder knows."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import icalendar
from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.owners import Instrument, Owner
from shimstock_server.database.tables.seasons import Calendar, Reminder
from shimstock_server.database.words import ReminderKind, ReminderState
from shimstock_server.owners import on_erasure
from shimstock_server.shop import settings
from shimstock_server.web import idempotency
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.tokens import hash_secret

from .sentences import sentence_of

KEPT_AFTER = timedelta(days=90)
"""How long an event that is over stays in a calendar, so that every program hears of its end."""
MOST_EVENTS = 5000
TOKEN_BYTES = 24
"""192 random bits; no slow hash is needed."""
LASTS = timedelta(minutes=15)
ERASED = "erased"
"""Stands where an owner's calendar had its name, which mostly is the owner's."""
TITLES = {
    ReminderKind.SETTLE_HOUR: "Look at the neck again",
    ReminderKind.SETTLE_DAY: "Look at the neck again, next day",
    ReminderKind.SEASONAL: "Recheck",
    ReminderKind.STRINGS: "New strings",
}


def make_calendar(session: Session, body: Mapping[str, Any]) -> tuple[Calendar, str]:
    """Make a calendar, and return it with its address, which is known here and never again.

    Raises
    ------
    InvalidFields
        When there is no such owner.
    """
    if body["owner_id"] is not None:
        owner = session.get(Owner, body["owner_id"])
        if owner is None or owner.erased_at is not None:
            raise InvalidFields.at("/owner_id", "there is no owner with this id")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    row = Calendar(
        name=body["name"],
        token_hash=hash_secret(token),
        kinds=[kind.value for kind in body["kinds"]],
        owner_id=body["owner_id"],
    )
    session.add(row)
    session.flush()
    return row, f"/calendars/{token}.ics"


def find_calendar(session: Session, token: str) -> Calendar | None:
    """Return the calendar under a token, or None when it was never made or is revoked."""
    row = session.scalars(select(Calendar).where(Calendar.token_hash == hash_secret(token))).one_or_none()
    return None if row is None or row.revoked_at is not None else row


def calendar_told(row: Calendar, path: str | None = None) -> dict[str, Any]:
    """Return a calendar as it is answered."""
    names = ("id", "version", "created_at", "updated_at", "name", "kinds", "owner_id", "revoked_at")
    return {name: getattr(row, name) for name in names} | {"path": path}


@on_erasure
def _forget_owner(session: Session, owner_id: UUID) -> None:
    """End an owner's calendars and forget their names."""
    told: dict[UUID, dict[str, Any]] = {}
    for row in session.scalars(select(Calendar).where(Calendar.owner_id == owner_id)):
        row.revoked_at = row.revoked_at or session.info.get("now") or datetime.now(UTC)
        row.name = ERASED
        told[row.id] = {"name": ERASED}
    idempotency.take_out(session, told)


def written(session: Session, calendar: Calendar, *, now: datetime) -> bytes:
    """Write a calendar: its open reminders, and those that ended lately, cancelled ones as cancelled.

    No event tells a name, a telephone number or a note: the address may be passed on.
    """
    shop = settings(session)
    zone = ZoneInfo(shop.zone)
    made = icalendar.Calendar()
    made.add("prodid", "-//Shimstock//Reminders//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("method", "PUBLISH")
    made.add("x-wr-calname", f"{shop.name}: {calendar.name}")
    made.add("x-wr-timezone", shop.zone)
    made.add("refresh-interval", timedelta(hours=12), parameters={"VALUE": "DURATION"})
    owner = None if calendar.owner_id is None else session.get(Owner, calendar.owner_id)
    units = (shop if owner is None else owner).units.value
    for reminder, maker, model, serial in session.execute(_events(calendar, now)):
        instrument = f"{maker} {model}" + (f" ({serial})" if serial else "")
        made.add_component(_event(reminder, instrument, units, zone))
    return bytes(made.to_ical())


def _events(calendar: Calendar, now: datetime) -> Any:
    statement = (
        select(Reminder, InstrumentModel.maker, InstrumentModel.name, Instrument.serial)
        .join(Instrument, Instrument.id == Reminder.instrument_id)
        .join(InstrumentModel, InstrumentModel.id == Instrument.model_id)
        .where(Reminder.closed_at.is_(None) | (Reminder.closed_at > now - KEPT_AFTER))
        .order_by(Reminder.due_at, Reminder.id)
        .limit(MOST_EVENTS)
    )
    if calendar.kinds:
        statement = statement.where(Reminder.kind.in_([ReminderKind(kind) for kind in calendar.kinds]))
    if calendar.owner_id is not None:
        statement = statement.where(Instrument.owner_id == calendar.owner_id)
    return statement


def _event(reminder: Reminder, instrument: str, units: str, zone: ZoneInfo) -> icalendar.Event:
    event = icalendar.Event()
    due_at = reminder.snoozed_until or reminder.due_at
    event.add("uid", f"{reminder.id}@reminders.shimstock")
    event.add("dtstamp", reminder.updated_at.astimezone(UTC).replace(microsecond=0))
    event.add("last-modified", reminder.updated_at.astimezone(UTC).replace(microsecond=0))
    event.add("created", reminder.created_at.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", reminder.version - 1)
    if reminder.all_day:
        day = due_at.astimezone(zone).date()
        event.add("dtstart", day)
        event.add("dtend", day + timedelta(days=1))
    else:
        event.add("dtstart", due_at.astimezone(UTC).replace(microsecond=0))
        event.add("duration", LASTS)
    cancelled = reminder.state is ReminderState.CANCELLED
    title = TITLES[reminder.kind]
    event.add(
        "summary",
        f"Done: {title}: {instrument}" if reminder.state is ReminderState.DONE else f"{title}: {instrument}",
    )
    event.add("description", sentence_of(reminder.kind.value, reminder.reason, units))
    event.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    event.add("categories", [reminder.kind.value])
    return event

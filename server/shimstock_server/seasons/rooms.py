"""Rooms, how they are kept, where instruments live, and the shop's ways of forecasting."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Hygrometer, Keeping, Room, SeasonSettings
from shimstock_server.database.words import RoomUse
from shimstock_server.owners import on_erasure
from shimstock_server.web import idempotency
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.typed import kept

from .climates import refuse_unknown
from .marks import mark, mark_all
from .places import find_settings, keeping_of
from .problems import NameUsedAlready
from .profiles import USUAL, checked, profile_over, told, usual


def store_settings(session: Session, row: SeasonSettings | None, body: Mapping[str, Any]) -> SeasonSettings:
    """Say how the shop forecasts, all of it."""
    refuse_unknown(session, body["climate_id"])
    if row is None:
        row = SeasonSettings(shop_profile={}, home_profile={})
        session.add(row)
    row.climate_id = body["climate_id"]
    row.shop_profile = checked(USUAL[RoomUse.SHOP], body["shop"], "/shop")
    row.home_profile = checked(USUAL[RoomUse.HOME], body["home"], "/home")
    row.earliest_days = body["earliest_days"]
    row.moisture_limit, _ = kept(body["moisture_limit"])
    session.flush()
    emit(session, "season-settings.changed", row)
    mark(session, "all")
    return row


def settings_told(row: SeasonSettings | None) -> dict[str, Any]:
    """Return how the shop forecasts, as it is answered; what is usual before anybody said."""
    said = row or SeasonSettings(
        climate_id=None, shop_profile={}, home_profile={}, earliest_days=14, moisture_limit=2.0
    )
    return {
        "version": row.version if row is not None else 0,
        "updated_at": row.updated_at if row is not None else None,
        "climate_id": said.climate_id,
        "shop": told(profile_over(USUAL[RoomUse.SHOP], said.shop_profile), said.shop_profile),
        "home": told(profile_over(USUAL[RoomUse.HOME], said.home_profile), said.home_profile),
        "earliest_days": said.earliest_days,
        "moisture_limit": said.moisture_limit,
    }


def add_room(session: Session, body: Mapping[str, Any]) -> Room:
    """Add a room."""
    row = Room()
    _store_room(session, row, body)
    session.add(row)
    session.flush()
    emit(session, "room.created", row)
    return row


def change_room(session: Session, row: Room, body: Mapping[str, Any]) -> Room:
    """Change a room; its profile is replaced whole."""
    present = {name: getattr(row, name) for name in ("name", "use", "climate_id", "note")}
    _store_room(session, row, {**present, **body}, keep_profile="profile" not in body)
    session.flush()
    emit(session, "room.changed", row)
    mark(session, f"room:{row.id}")
    return row


def _store_room(session: Session, row: Room, body: Mapping[str, Any], *, keep_profile: bool = False) -> None:
    refuse_unknown(session, body["climate_id"])
    taken = session.scalar(select(Room.id).where(Room.name == body["name"]))
    if taken is not None and taken != row.id:
        raise NameUsedAlready(errors=[{"pointer": "/name", "message": "another room has this name"}])
    base = usual(find_settings(session), body["use"])
    profile = row.profile if keep_profile else checked(base, body["profile"] or {}, "/profile")
    if keep_profile:
        profile_over(base, profile)
    for name in ("name", "use", "climate_id", "note"):
        setattr(row, name, body[name])
    row.profile = profile


def room_told(row: Room, settings: SeasonSettings | None) -> dict[str, Any]:
    """Return a room as it is answered, with its profile whole."""
    names = ("id", "version", "created_at", "updated_at", "name", "use", "climate_id", "note")
    profile = profile_over(usual(settings, row.use), row.profile)
    return {name: getattr(row, name) for name in names} | {"profile": told(profile, row.profile)}


def add_hygrometer(session: Session, body: Mapping[str, Any]) -> Hygrometer:
    """Add a hygrometer."""
    row = Hygrometer()
    _store_hygrometer(session, row, body)
    session.add(row)
    session.flush()
    return row


def change_hygrometer(session: Session, row: Hygrometer, body: Mapping[str, Any]) -> Hygrometer:
    """Change a hygrometer; readings stay with the room that they were taken in."""
    present = {name: getattr(row, name) for name in ("name", "room_id", "active", "note")}
    _store_hygrometer(session, row, {**present, **body})
    session.flush()
    return row


def _store_hygrometer(session: Session, row: Hygrometer, body: Mapping[str, Any]) -> None:
    taken = session.scalar(select(Hygrometer.id).where(Hygrometer.name == body["name"]))
    if taken is not None and taken != row.id:
        raise NameUsedAlready(errors=[{"pointer": "/name", "message": "another hygrometer has this name"}])
    refuse_unknown_room(session, body["room_id"])
    for name in ("name", "room_id", "active", "note"):
        setattr(row, name, body[name])


def refuse_unknown_room(session: Session, identifier: UUID | None) -> None:
    """Refuse an id that no room has."""
    if identifier is not None and session.get(Room, identifier) is None:
        raise InvalidFields.at("/room_id", "there is no room with this id")


def store_keeping(session: Session, instrument: Instrument, body: Mapping[str, Any]) -> Keeping:
    """Say where an instrument lives and how much it is played."""
    row = keeping_of(session, instrument.id)
    refuse_unknown_room(session, body["room_id"])
    refuse_unknown(session, body["climate_id"])
    if body["room_id"] is not None and body["climate_id"] is not None:
        raise InvalidFields.at(
            "/climate_id", "the room has its climate: name the room or a climate, not both"
        )
    if row is None:
        row = Keeping(instrument_id=instrument.id)
        session.add(row)
    for name in ("room_id", "climate_id", "hours_per_week", "reminders"):
        setattr(row, name, body[name])
    session.flush()
    mark(session, f"instrument:{instrument.id}")
    return row


def keeping_told(instrument_id: UUID, row: Keeping | None) -> dict[str, Any]:
    """Return where an instrument lives, as it is answered."""
    return {
        "instrument_id": instrument_id,
        "version": row.version if row is not None else 0,
        "updated_at": row.updated_at if row is not None else None,
        "room_id": row.room_id if row is not None else None,
        "climate_id": row.climate_id if row is not None else None,
        "hours_per_week": row.hours_per_week if row is not None else None,
        "reminders": row.reminders if row is not None else True,
    }


@on_erasure
def _forget_homes(session: Session, owner_id: UUID) -> None:
    """Take out where an owner's instruments live, and the words about rooms that only they live in."""
    own = list(session.scalars(select(Instrument.id).where(Instrument.owner_id == owner_id)))
    kept = list(session.scalars(select(Keeping).where(Keeping.instrument_id.in_(own))))
    left = {row.room_id for row in kept if row.room_id is not None}
    for row in kept:
        row.room_id = row.climate_id = None
    session.flush()
    shared = set(session.scalars(select(Keeping.room_id).where(Keeping.room_id.in_(left))))
    said: dict[UUID, dict[str, Any]] = {}
    for room in session.scalars(select(Room).where(Room.id.in_(left), Room.use == RoomUse.HOME)):
        if room.id not in shared:
            room.name, room.note = f"a home, {room.id}", None
            said[room.id] = {"name": room.name, "note": None}
    idempotency.take_out(session, said)
    mark_all(session, [f"instrument:{each}" for each in own])

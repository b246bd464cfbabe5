"""The addresses of climates, rooms, hygrometers and their readings."""

from __future__ import annotations

from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy import select

from shimstock_server.database.tables.seasons import (
    Climate,
    Hygrometer,
    HygrometerSaltCheck,
    Room,
    RoomAlert,
    RoomReading,
)
from shimstock_server.shop import ShopNotSetUp, settings
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match, require_if_match
from shimstock_server.web.paging import PageQuery, page, page_of
from shimstock_server.web.problems import (
    ClockAhead,
    IdTaken,
    InvalidFields,
    PreconditionFailed,
    PreconditionRequired,
)
from shimstock_server.web.quantities import Quantity
from shimstock_server.web.visibility import exists, visibility

from . import air_schemas as schemas
from . import alerts, climates, hygrometers, log_files, room_readings, rooms
from .places import find_settings
from .problems import NameUsedAlready, TwoReadingsAtOnce

READERS = ("bench", "manager")
WRITERS = ("manager",)

climate_routes = Blueprint("climates", "Monthly outdoor normals of places, and how the shop forecasts.")
room_routes = Blueprint("rooms", "Rooms that instruments live in, their hygrometers, their air.")

visibility("climate_id", exists(Climate.id))
visibility("room_id", exists(Room.id))
visibility("hygrometer_id", exists(Hygrometer.id))
visibility("room_reading_id", exists(RoomReading.id))


@climate_routes.operation(
    "GET", "/climates", scopes=READERS, query=PageQuery, answer=page_of(schemas.ClimateOut)
)
def list_climates(query: dict[str, Any]) -> Answer:
    """List the climates by name."""
    return page(select(Climate), query, sort=(Climate.name, Climate.id), show=climates.climate_told)


@climate_routes.operation(
    "POST", "/climates", scopes=WRITERS, body=schemas.ClimateIn, answer=schemas.ClimateOut, status=201,
    writes=True, creates="key", conflicts=(NameUsedAlready,),
)  # fmt: skip
def add_climate(body: dict[str, Any]) -> Answer:
    """Add the monthly normals of a place."""
    row = climates.add_climate(current.session, body)
    return Answer(climates.climate_told(row), location=f"/v1/climates/{row.id}")


@climate_routes.operation(
    "POST", "/climates/csv", scopes=WRITERS, query=schemas.ClimateFileQuery, answer=schemas.ClimateOut,
    status=201, writes=True, creates="key", conflicts=(NameUsedAlready,), text=("text/csv",),
)  # fmt: skip
def add_climate_from_csv(query: dict[str, Any], text: str) -> Answer:
    """Add the monthly normals of a place from a table of twelve lines.

    Headings: `month`, `temperature_degC` or `temperature_degF`, and one of `relative_humidity_percent`,
    `dew_point_degC`, `dew_point_degF`, `vapour_pressure_Pa`. Pointers of bad fields are `/lines/LINE/COLUMN`.
    """
    row = climates.climate_from_csv(current.session, text, query)
    return Answer(climates.climate_told(row), location=f"/v1/climates/{row.id}")


@climate_routes.operation(
    "POST", "/climates/epw", scopes=WRITERS, query=schemas.TypicalYearQuery, answer=schemas.ClimateOut,
    status=201, writes=True, creates="key", conflicts=(NameUsedAlready,),
    text=("text/plain", "text/csv", "application/octet-stream"),
)  # fmt: skip
def add_climate_from_epw(query: dict[str, Any], text: str) -> Answer:
    """Add the monthly normals of a place from a typical year in EPW.

    The vapour pressure of each hour comes from its dew point, else from its relative humidity over water; a
    dew point above the temperature counts as saturated air. An hour without either, or outside nature, is
    left out and counted, as are the hours of 29 February; an hour that stands twice is refused. A day with at
    least 18 hours counts, by its mean; a month with at least 20 days counts, by the mean of its days.
    """
    row = climates.climate_from_epw(current.session, text, query)
    return Answer(climates.climate_told(row), location=f"/v1/climates/{row.id}")


@climate_routes.operation("GET", "/climates/<uuid:climate_id>", scopes=READERS, answer=schemas.ClimateOut)
def show_climate(climate_id: UUID) -> dict[str, Any]:
    """Show a climate."""
    return climates.climate_told(current.session.get_one(Climate, climate_id))


@climate_routes.operation(
    "PATCH", "/climates/<uuid:climate_id>", scopes=WRITERS, body=schemas.ClimateChange,
    answer=schemas.ClimateOut, writes=True, edits=True, conflicts=(NameUsedAlready,),
)  # fmt: skip
def change_climate(climate_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change a climate; its months are replaced whole."""
    row = current.session.get_one(Climate, climate_id)
    must_match(row)
    return climates.climate_told(climates.change_climate(current.session, row, body))


@climate_routes.operation("GET", "/season-settings", scopes=READERS, answer=schemas.SeasonSettingsOut)
def show_season_settings() -> dict[str, Any]:
    """Show how the shop forecasts: its climate, how its rooms and owners' homes are kept."""
    return rooms.settings_told(find_settings(current.session))


@climate_routes.operation(
    "PUT", "/season-settings", scopes=WRITERS, body=schemas.SeasonSettingsIn,
    answer=schemas.SeasonSettingsOut, writes=True, conflicts=(PreconditionFailed, PreconditionRequired),
)  # fmt: skip
def put_season_settings(body: dict[str, Any]) -> dict[str, Any]:
    """Say how the shop forecasts, all of it; once it is said, If-Match is needed."""
    row = find_settings(current.session)
    if row is not None:
        require_if_match()
        must_match(row)
    return rooms.settings_told(rooms.store_settings(current.session, row, body))


@room_routes.operation("GET", "/rooms", scopes=READERS, query=PageQuery, answer=page_of(schemas.KeptRoomOut))
def list_rooms(query: dict[str, Any]) -> Answer:
    """List the rooms by name."""
    own = find_settings(current.session)
    return page(select(Room), query, sort=(Room.name, Room.id), show=lambda row: rooms.room_told(row, own))


@room_routes.operation(
    "POST", "/rooms", scopes=READERS, body=schemas.KeptRoomIn, answer=schemas.KeptRoomOut, status=201,
    writes=True, creates="key", conflicts=(NameUsedAlready,),
)  # fmt: skip
def add_room(body: dict[str, Any]) -> Answer:
    """Add a room."""
    row = rooms.add_room(current.session, body)
    return Answer(rooms.room_told(row, find_settings(current.session)), location=f"/v1/rooms/{row.id}")


@room_routes.operation("GET", "/rooms/<uuid:room_id>", scopes=READERS, answer=schemas.KeptRoomOut)
def show_room(room_id: UUID) -> dict[str, Any]:
    """Show a room."""
    return rooms.room_told(current.session.get_one(Room, room_id), find_settings(current.session))


@room_routes.operation(
    "PATCH", "/rooms/<uuid:room_id>", scopes=READERS, body=schemas.KeptRoomChange,
    answer=schemas.KeptRoomOut, writes=True, edits=True, conflicts=(NameUsedAlready,),
)  # fmt: skip
def change_room(room_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change a room; its profile is replaced whole."""
    row = current.session.get_one(Room, room_id)
    must_match(row)
    row = rooms.change_room(current.session, row, body)
    return rooms.room_told(row, find_settings(current.session))


@room_routes.operation(
    "GET", "/rooms/<uuid:room_id>/air", scopes=READERS, answer=schemas.RoomAirNowOut,
    conflicts=(ShopNotSetUp,),
)  # fmt: skip
def show_room_air(room_id: UUID) -> dict[str, Any]:
    """Show a room's air now: the newest reading, and what it means for the instruments in it."""
    return alerts.air_now(current.session, current.session.get_one(Room, room_id), now=current.now)


@room_routes.operation(
    "GET", "/room-warnings", scopes=READERS, query=schemas.RoomAlertQuery,
    answer=page_of(schemas.RoomAlertOut),
)  # fmt: skip
def list_room_warnings(query: dict[str, Any]) -> Answer:
    """List the warnings of rooms, the newest first; those that last, or those that are over."""
    statement = select(RoomAlert)
    if "room_id" in query:
        statement = statement.where(RoomAlert.room_id == query["room_id"])
    if "lasting" in query:
        over = RoomAlert.ended_at.is_not(None)
        statement = statement.where(~over if query["lasting"] else over)
    return page(statement, query, sort=(RoomAlert.since, RoomAlert.id), descending=True, show=_alert_told)


def _alert_told(row: RoomAlert) -> dict[str, Any]:
    names = ("id", "room_id", "code", "since", "ended_at", "value")
    return {name: getattr(row, name) for name in names} | {
        "text": row.meaning,
        "instruments": alerts.instruments_in(current.session, row.room_id),
    }


@room_routes.operation(
    "GET", "/hygrometers", scopes=READERS, query=PageQuery, answer=page_of(schemas.HygrometerOut)
)
def list_hygrometers(query: dict[str, Any]) -> Answer:
    """List the hygrometers by name."""
    return page(select(Hygrometer), query, sort=(Hygrometer.name, Hygrometer.id))


@room_routes.operation(
    "POST", "/hygrometers", scopes=READERS, body=schemas.HygrometerIn, answer=schemas.HygrometerOut,
    status=201, writes=True, creates="key", conflicts=(NameUsedAlready,),
)  # fmt: skip
def add_hygrometer(body: dict[str, Any]) -> Answer:
    """Add a hygrometer."""
    row = rooms.add_hygrometer(current.session, body)
    return Answer(row, location=f"/v1/hygrometers/{row.id}")


@room_routes.operation(
    "GET", "/hygrometers/<uuid:hygrometer_id>", scopes=READERS, answer=schemas.HygrometerOut
)
def show_hygrometer(hygrometer_id: UUID) -> Hygrometer:
    """Show a hygrometer."""
    return current.session.get_one(Hygrometer, hygrometer_id)


@room_routes.operation(
    "PATCH", "/hygrometers/<uuid:hygrometer_id>", scopes=READERS, body=schemas.HygrometerChange,
    answer=schemas.HygrometerOut, writes=True, edits=True, conflicts=(NameUsedAlready,),
)  # fmt: skip
def change_hygrometer(hygrometer_id: UUID, body: dict[str, Any]) -> Hygrometer:
    """Change a hygrometer."""
    row = current.session.get_one(Hygrometer, hygrometer_id)
    must_match(row)
    return rooms.change_hygrometer(current.session, row, body)


@room_routes.operation(
    "GET", "/hygrometers/<uuid:hygrometer_id>/checks", scopes=READERS, query=PageQuery,
    answer=page_of(schemas.SaltCheckOut),
)  # fmt: skip
def list_salt_checks(hygrometer_id: UUID, query: dict[str, Any]) -> Answer:
    """List the checks of a hygrometer over saturated salts, the first first."""
    return page(
        select(HygrometerSaltCheck).where(HygrometerSaltCheck.hygrometer_id == hygrometer_id),
        query,
        sort=(HygrometerSaltCheck.checked_at, HygrometerSaltCheck.id),
    )


@room_routes.operation(
    "POST", "/hygrometers/<uuid:hygrometer_id>/checks", scopes=READERS, body=schemas.SaltCheckIn,
    answer=schemas.SaltCheckOut, status=201, writes=True, creates="key", conflicts=(ClockAhead,),
)  # fmt: skip
def add_salt_check(hygrometer_id: UUID, body: dict[str, Any]) -> Answer:
    """Keep what a hygrometer showed over two saturated salts.

    Readings taken from then on are corrected by it; what was read before stays as it is.
    """
    if body["checked_at"] > current.now + room_readings.CLOCK_TOLERANCE:
        raise ClockAhead(errors=[{"pointer": "/checked_at", "message": "lies ahead"}])
    if body["checked_at"] < room_readings.CLOCK_RESET:
        told = f"lies in {body['checked_at'].year}: readings from then on would be corrected by it"
        raise InvalidFields.at("/checked_at", told)
    row = current.session.get_one(Hygrometer, hygrometer_id)
    return Answer(
        hygrometers.record_check(current.session, row, body, actor=current.actor),
        location=f"/v1/hygrometers/{hygrometer_id}/checks",
    )


def _named(room_id: UUID, hygrometer_id: UUID | None, at: str) -> tuple[Room, Hygrometer | None]:
    room = current.session.get(Room, room_id)
    hygrometer = None if hygrometer_id is None else current.session.get(Hygrometer, hygrometer_id)
    errors: dict[str, str] = {}
    if room is None:
        errors[f"{at}/room_id"] = "there is no room with this id"
    if hygrometer_id is not None and hygrometer is None:
        errors[f"{at}/hygrometer_id"] = "there is no hygrometer with this id"
    if room is None or errors:
        raise InvalidFields.of(errors)
    return room, hygrometer


def _sent(at: str, reading: dict[str, Any]) -> room_readings.Sent:
    warm: Quantity = reading["temperature"]
    damp: Quantity = reading["relative_humidity"]
    return room_readings.Sent(
        at=at,
        id=reading["id"],
        taken_at=reading["taken_at"],
        temperature=warm.value,
        shown=damp.value,
        typed={
            name: {"value": one.typed_value, "unit": str(one.typed_unit)}
            for name, one in (("temperature", warm), ("relative_humidity", damp))
        },
        confirmed=reading["confirmed"],
        confirm_clock=reading["confirm_clock"],
        note=reading["note"],
    )


@room_routes.operation(
    "POST", "/room-readings", scopes=READERS, body=schemas.RoomReadingIn, answer=schemas.RoomReadingOut,
    status=201, also={200: schemas.RoomReadingOut}, writes=True, creates="client-id",
    conflicts=(IdTaken, TwoReadingsAtOnce, ClockAhead, ShopNotSetUp), by_hand=False,
)  # fmt: skip
def post_room_reading(body: dict[str, Any]) -> Answer:
    """Keep a reading of a room's air, from a sensor or typed; a sensor names no technician.

    The same again answers 200 with what is stored; so does the same said by the same hygrometer at the same
    instant under another id, with the reading that was kept.
    """
    room, hygrometer = _named(body["room_id"], body["hygrometer_id"], "")
    outcome = room_readings.record(
        current.session, room, hygrometer, [_sent("", body)], actor=current.actor, now=current.now
    )
    kept = outcome.stored[0] if outcome.stored else outcome.known[0]["kept_as"]
    return Answer(
        room_readings.reading_told(current.session.get_one(RoomReading, kept)),
        status=201 if outcome.stored else 200,
        location=f"/v1/room-readings/{kept}",
    )


@room_routes.operation(
    "POST", "/room-readings/batch", scopes=READERS, body=schemas.RoomReadingBatchIn,
    answer=schemas.RoomLogOut, writes=True,
    conflicts=(IdTaken, TwoReadingsAtOnce, ClockAhead, ShopNotSetUp), by_hand=False,
)  # fmt: skip
def post_room_readings(body: dict[str, Any]) -> Answer:
    """Keep up to 500 readings of one room, in any order, all or nothing.

    What is there already is kept once and named under `known`; readings out of order are put in order and
    counted, long pauses are told under `gaps`. The same batch again changes nothing.
    """
    room, hygrometer = _named(body["room_id"], body["hygrometer_id"], "")
    sent = [_sent(f"/readings/{n}", reading) for n, reading in enumerate(body["readings"])]
    return Answer(_log_told(room, hygrometer, sent))


@room_routes.operation(
    "POST", "/room-readings/csv", scopes=READERS, query=schemas.LogFileQuery, answer=schemas.RoomLogOut,
    writes=True, conflicts=(IdTaken, TwoReadingsAtOnce, ClockAhead, ShopNotSetUp), text=("text/csv",),
    by_hand=False,
)  # fmt: skip
def post_room_log(query: dict[str, Any], text: str) -> Answer:
    """Keep a hygrometer's log from a table, all or nothing.

    Headings: `taken_at`, `temperature_degC` or `temperature_degF`, `relative_humidity_percent`; optionally
    `id` and `note`. Times without an offset are in the zone named, the shop's by default. The same file again
    changes nothing. Pointers of bad fields are `/lines/LINE/COLUMN`.
    """
    room, hygrometer = _named(query["room_id"], query.get("hygrometer_id"), "/query")
    sent = log_files.read_log(text, query, zone=_zone(query.get("zone")))
    return Answer(_log_told(room, hygrometer, sent))


def _zone(name: str | None) -> ZoneInfo:
    try:
        return ZoneInfo(name or settings(current.session).zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InvalidFields.at(
            "/query/zone", "must be a zone of the IANA data base, such as Europe/Berlin"
        ) from None


def _log_told(room: Room, hygrometer: Hygrometer | None, sent: list[room_readings.Sent]) -> dict[str, Any]:
    outcome = room_readings.record(
        current.session, room, hygrometer, sent, actor=current.actor, now=current.now
    )
    return {
        "room_id": room.id,
        "sent": len(sent),
        "stored": len(outcome.stored),
        "known": outcome.known,
        "reordered": outcome.reordered,
        "gaps": outcome.gaps,
        "first": outcome.first,
        "last": outcome.last,
    }


@room_routes.operation(
    "GET", "/room-readings", scopes=READERS, query=schemas.RoomReadingQuery,
    answer=page_of(schemas.RoomReadingOut),
)  # fmt: skip
def list_room_readings(query: dict[str, Any]) -> Answer:
    """List the readings of rooms as they were taken, the newest first."""
    statement = select(RoomReading)
    for name in ("room_id", "hygrometer_id"):
        if name in query:
            statement = statement.where(getattr(RoomReading, name) == query[name])
    if "since" in query:
        statement = statement.where(RoomReading.taken_at >= query["since"])
    if "until" in query:
        statement = statement.where(RoomReading.taken_at < query["until"])
    return page(
        statement,
        query,
        sort=(RoomReading.taken_at, RoomReading.id),
        descending=True,
        show=room_readings.reading_told,
    )


@room_routes.operation(
    "GET", "/room-readings/<uuid:room_reading_id>", scopes=READERS, answer=schemas.RoomReadingOut
)
def show_room_reading(room_reading_id: UUID) -> dict[str, Any]:
    """Show a reading of a room's air."""
    return room_readings.reading_told(current.session.get_one(RoomReading, room_reading_id))

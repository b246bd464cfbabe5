"""The addresses of forecasts, of where instruments live, of what was learned, of reminders and calendars."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.bench import InstrumentUnknown
from shimstock_server.catalogue import InstrumentIncomplete
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Calendar, LearnedSensitivity, Reminder
from shimstock_server.shop import ShopNotSetUp
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match, require_if_match
from shimstock_server.web.idempotency import content_hash
from shimstock_server.web.paging import PageQuery, page, page_of
from shimstock_server.web.problems import (
    DatabaseAway,
    NotFound,
    PreconditionFailed,
    PreconditionRequired,
)
from shimstock_server.web.visibility import exists, visibility

from . import calendars, reminders, rooms
from . import season_schemas as schemas
from .chart import chart
from .forecast import forecast_of
from .forecast import told as forecast_told
from .places import keeping_of
from .problems import AirUnknown, NoFinalReading, ReminderClosed
from .sentences import seasonal_sentence

READERS = ("bench", "manager")
WRITERS = ("manager",)
SVG = "image/svg+xml"

forecast_routes = Blueprint("forecasts", "What the seasons will do to an instrument.")
reminder_routes = Blueprint("reminders", "What wants to be looked at again, and when.")
calendar_routes = Blueprint("calendars", "Reminders for calendar programs.", prefix="")

visibility("reminder_id", exists(Reminder.id))
visibility("calendar_id", exists(Calendar.id))

_FORECAST = schemas.ForecastOut()


@forecast_routes.operation(
    "GET", "/instruments/<uuid:instrument_id>/forecast", scopes=READERS, query=schemas.ForecastQuery,
    answer=schemas.ForecastOut, types=("application/json", SVG),
    conflicts=(NoFinalReading, AirUnknown, InstrumentUnknown, InstrumentIncomplete, ShopNotSetUp),
)  # fmt: skip
def get_forecast(instrument_id: UUID, query: dict[str, Any]) -> Answer:
    """Read what the seasons will do to an instrument: JSON, or a chart by `Accept`.

    Day by day from its last final or recheck reading: expected, band and probability of being outside the
    spec, the day to look again, and why. A learned answer to moisture is named with its source.
    """
    instrument = current.session.get_one(Instrument, instrument_id)
    found = forecast_of(current.session, instrument, now=current.now)
    sentence = seasonal_sentence(found.reason, current.units)
    if current.media_type == SVG:
        drawn = chart(found, sentence, current.units, query["width"])
        return Answer(text=drawn, media_type=SVG, digest=content_hash(drawn)[:32])
    answer = forecast_told(found, sentence)
    for quantity in answer["quantities"]:
        quantity["days"] = quantity["days"][:: query["step"]]
    answer["room"] = answer["room"][:: query["step"]]
    return Answer(answer, digest=content_hash(_FORECAST.dump(answer))[:32])


@forecast_routes.operation(
    "GET", "/instruments/<uuid:instrument_id>/keeping", scopes=READERS, answer=schemas.KeepingOut
)
def get_keeping(instrument_id: UUID) -> dict[str, Any]:
    """Show where an instrument lives and how much it is played."""
    return rooms.keeping_told(instrument_id, keeping_of(current.session, instrument_id))


@forecast_routes.operation(
    "PUT", "/instruments/<uuid:instrument_id>/keeping", scopes=READERS, body=schemas.KeepingIn,
    answer=schemas.KeepingOut, writes=True, conflicts=(PreconditionFailed, PreconditionRequired),
)  # fmt: skip
def put_keeping(instrument_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Say where an instrument lives and how much it is played; once it is said, If-Match is needed."""
    row = keeping_of(current.session, instrument_id)
    if row is not None:
        require_if_match()
        must_match(row)
    instrument = current.session.get_one(Instrument, instrument_id)
    return rooms.keeping_told(instrument_id, rooms.store_keeping(current.session, instrument, body))


@forecast_routes.operation(
    "GET",
    "/sensitivities",
    scopes=READERS,
    query=schemas.SensitivityQuery,
    answer=page_of(schemas.SensitivityOut),
)
def list_sensitivities(query: dict[str, Any]) -> Answer:
    """List what this shop's readings have taught of how relief or saddle height answers moisture."""
    return page(
        select(LearnedSensitivity).where(LearnedSensitivity.moves == query["of"]),
        query,
        sort=(LearnedSensitivity.level, LearnedSensitivity.subject),
        descending=True,
        show=_sensitivity_told,
    )


def _sensitivity_told(row: LearnedSensitivity) -> dict[str, Any]:
    return {
        "of": row.moves,
        "level": row.level,
        "subject_id": None if row.subject == "shop" else UUID(row.subject),
        "per_moisture_percent": row.mean,
        "sd": row.sd,
        "samples": row.samples,
        "learned_at": row.learned_at,
    }


@reminder_routes.operation(
    "GET", "/reminders", scopes=READERS, query=schemas.ReminderQuery, answer=page_of(schemas.ReminderOut),
    conflicts=(ShopNotSetUp,),
)  # fmt: skip
def list_reminders(query: dict[str, Any]) -> Answer:
    """List the reminders that are open, the first due first; `due=true` for what is due now."""
    zone = reminders.zone_of(current.session)
    answer = page(
        reminders.listed(query, now=current.now), query, sort=(Reminder.due_at, Reminder.id), rows=True
    )
    answer.data.items[:] = [
        reminders.told(row, current.units, zone, now=current.now) for row in answer.data.items
    ]
    return answer


@reminder_routes.operation(
    "GET", "/reminders/<uuid:reminder_id>", scopes=READERS, answer=schemas.ReminderOut,
    conflicts=(ShopNotSetUp,),
)  # fmt: skip
def get_reminder(reminder_id: UUID) -> dict[str, Any]:
    """Show a reminder."""
    return _reminder_told(reminder_id)


def _reminder_told(reminder_id: UUID) -> dict[str, Any]:
    row = reminders.one(current.session, reminder_id)
    return reminders.told(row, current.units, reminders.zone_of(current.session), now=current.now)


@reminder_routes.operation(
    "POST", "/reminders/<uuid:reminder_id>/answers", scopes=READERS, body=schemas.ReminderAnswerIn,
    answer=schemas.ReminderOut, writes=True, edits=True, creates="key",
    conflicts=(ReminderClosed, ShopNotSetUp),
)  # fmt: skip
def answer_reminder(reminder_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Acknowledge a reminder, snooze it until later, say that it is done, or cancel it.

    A recheck sheet does a seasonal reminder by itself, and new strings do a reminder of strings.
    """
    row = current.session.get_one(Reminder, reminder_id, with_for_update=True)
    must_match(row)
    reminders.answer(current.session, row, body, actor=current.actor, now=current.now)
    return _reminder_told(reminder_id)


@reminder_routes.operation(
    "GET", "/reminders/<uuid:reminder_id>/history", scopes=READERS, answer=schemas.ReminderHistoryOut
)
def get_reminder_history(reminder_id: UUID) -> dict[str, Any]:
    """List what happened to a reminder, the first first."""
    return {"items": reminders.history(current.session, reminder_id)}


@calendar_routes.operation(
    "GET", "/v1/calendars", scopes=WRITERS, query=PageQuery, answer=page_of(schemas.CalendarOut)
)
def list_calendars(query: dict[str, Any]) -> Answer:
    """List the calendars, without their secret addresses."""
    return page(
        select(Calendar), query, sort=(Calendar.created_at, Calendar.id), show=calendars.calendar_told
    )


@calendar_routes.operation(
    "POST", "/v1/calendars", scopes=WRITERS, body=schemas.CalendarIn, answer=schemas.CalendarOut,
    status=201, writes=True, creates="key",
)  # fmt: skip
def add_calendar(body: dict[str, Any]) -> Answer:
    """Make a calendar. Its address is told here and never again: whoever knows it can read it."""
    row, path = calendars.make_calendar(current.session, body)
    return Answer(calendars.calendar_told(row, path), location=f"/v1/calendars/{row.id}")


@calendar_routes.operation(
    "GET", "/v1/calendars/<uuid:calendar_id>", scopes=WRITERS, answer=schemas.CalendarOut
)
def show_calendar(calendar_id: UUID) -> dict[str, Any]:
    """Show a calendar, without its secret address."""
    return calendars.calendar_told(current.session.get_one(Calendar, calendar_id))


@calendar_routes.operation(
    "DELETE", "/v1/calendars/<uuid:calendar_id>", scopes=WRITERS, answer=schemas.CalendarOut, writes=True,
    edits=True,
)  # fmt: skip
def revoke_calendar(calendar_id: UUID) -> dict[str, Any]:
    """Make a calendar's address useless from now on."""
    row = current.session.get_one(Calendar, calendar_id)
    must_match(row)
    if row.revoked_at is None:
        row.revoked_at = current.now
        current.session.flush()
    return calendars.calendar_told(row)


@calendar_routes.operation(
    "GET", "/calendars/<token>.ics", scopes=None, types=("text/calendar",), also={304: None},
    conflicts=(NotFound, ShopNotSetUp, DatabaseAway),
)  # fmt: skip
def get_calendar_file(token: str) -> Answer:
    """Read a calendar as iCalendar (RFC 5545), for calendar programs that subscribe to it."""
    found = calendars.find_calendar(current.session, token)
    if found is None:
        raise NotFound
    written = calendars.written(current.session, found, now=current.now)
    return Answer(
        text=written,
        media_type="text/calendar; charset=utf-8",
        digest=content_hash(written.decode())[:32],
        headers={"Cache-Control": "no-store", "X-Robots-Tag": "noindex"},
    )

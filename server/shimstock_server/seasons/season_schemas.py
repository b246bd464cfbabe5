"""Schemas of where instruments live, their forecasts, what was learned, reminders and calendars."""

from __future__ import annotations

from typing import Any

from shimstock_server.database.words import (
    Movable,
    Quantity,
    ReminderHappening,
    ReminderKind,
    ReminderState,
    Side,
)
from shimstock_server.web.fields import (
    Choice,
    Day,
    Id,
    Instant,
    ListOf,
    Nested,
    Number,
    StrictSchema,
    Text,
    Truth,
    Whole,
)
from shimstock_server.web.paging import PageQuery
from shimstock_server.web.quantities import QuantityOut

from .air_schemas import RoomRemarkOut
from .chart import NARROWEST, WIDEST, WIDTH
from .forecast import LONGEST

_NONE: dict[str, Any] = {"load_default": None, "allow_none": True}
LEVELS = ("instrument", "model", "shop", "prior")


class KeepingIn(StrictSchema):
    """Where an instrument lives and how much it is played."""

    room_id = Id(**_NONE)
    climate_id = Id(**_NONE)
    hours_per_week = Number(0, 168, **_NONE)
    reminders = Truth(load_default=True)


class KeepingOut(StrictSchema):
    """Where an instrument lives and how much it is played; version 0 before anybody said."""

    instrument_id = Id()
    version = Whole()
    updated_at = Instant(allow_none=True)
    room_id = Id(allow_none=True)
    climate_id = Id(allow_none=True)
    hours_per_week = Number(allow_none=True)
    reminders = Truth()


class ForecastQuery(StrictSchema):
    """How finely to tell the curve, or how wide to draw it."""

    step = Whole(1, 31, load_default=1, metadata={"description": "Every how many days."})
    width = Whole(
        NARROWEST, WIDEST, load_default=WIDTH,
        metadata={"description": "Of the picture, in px; its type keeps its size, so a phone asks for 360."},
    )  # fmt: skip


class ForecastAirOut(StrictSchema):
    """Whose air the forecast goes by: a room's own log, the model from monthly normals, or both."""

    source = Choice(("log", "model", "log-and-model"))
    climate_id = Id(allow_none=True)
    climate = Text(allow_none=True)
    room_id = Id(allow_none=True)
    logged_months = ListOf(Whole())
    logged_days = Whole()
    logged_from = Day(allow_none=True)
    logged_to = Day(allow_none=True)


class AnsweringOut(StrictSchema):
    """How strongly something answers moisture, per percent, and where that is known from."""

    of = Choice(Movable)
    per_moisture_percent = QuantityOut("relief")
    sd = QuantityOut("relief")
    source = Choice(LEVELS)
    samples = Whole()


class ForecastDayOut(StrictSchema):
    """A day of the forecast; the band reaches two standard deviations each way."""

    day = Day()
    expected = QuantityOut(kind_from="kind")
    low = QuantityOut(kind_from="kind")
    high = QuantityOut(kind_from="kind")
    sd = QuantityOut(kind_from="kind")
    probability_out = Number()
    moisture_change = QuantityOut("moisture")


class ForecastCurveOut(StrictSchema):
    """One quantity's forecast from its last final reading on."""

    quantity = Choice(Quantity)
    side = Choice(Side, allow_none=True)
    string = Whole(allow_none=True)
    value = QuantityOut(kind_from="kind")
    uncertainty = QuantityOut(kind_from="kind")
    lower = QuantityOut(kind_from="kind", allow_none=True)
    upper = QuantityOut(kind_from="kind", allow_none=True)
    sheet_id = Id()
    sensitivities = ListOf(Nested(AnsweringOut))
    days = ListOf(Nested(ForecastDayOut), max=LONGEST + 1)


class RoomDayOut(StrictSchema):
    """A day of the room's air, and the moisture that wood would come to in it."""

    day = Day()
    temperature = QuantityOut("temperature")
    relative_humidity = QuantityOut("relative-humidity")
    wood_moisture = QuantityOut("moisture")


class ForecastOut(StrictSchema):
    """What the seasons will do to an instrument, and when to look again."""

    instrument_id = Id()
    today = Day()
    read_on = Day()
    recheck_on = Day(allow_none=True)
    cause = Choice(("spec", "moisture", "none"))
    sentence = Text(max=2000)
    air = Nested(ForecastAirOut)
    warnings = ListOf(Nested(RoomRemarkOut))
    quantities = ListOf(Nested(ForecastCurveOut))
    room = ListOf(Nested(RoomDayOut), max=LONGEST + 1)


class SensitivityOut(StrictSchema):
    """What this shop's readings have taught, per percent of moisture."""

    of = Choice(Movable)
    level = Choice(LEVELS)
    subject_id = Id(allow_none=True)
    per_moisture_percent = QuantityOut("relief")
    sd = QuantityOut("relief")
    samples = Whole()
    learned_at = Instant(allow_none=True)


class SensitivityQuery(PageQuery):
    """What was learned of what."""

    of = Choice(Movable, load_default=Movable.RELIEF)


class ReminderOut(StrictSchema):
    """Something that wants to be looked at again."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    kind = Choice(ReminderKind)
    state = Choice(ReminderState)
    instrument_id = Id()
    instrument = Text(metadata={"description": "Maker and model, for a list."})
    serial = Text(allow_none=True)
    owner_id = Id()
    job_id = Id(allow_none=True)
    job_number = Whole(allow_none=True)
    due_at = Instant()
    due_on = Day(metadata={"description": "The same in the shop's zone."})
    all_day = Truth()
    due = Truth()
    snoozed_until = Instant(allow_none=True)
    sentence = Text(max=2000)
    probability_out = Number(allow_none=True)
    closed_at = Instant(allow_none=True)
    sheet_id = Id(allow_none=True)


class ReminderQuery(PageQuery):
    """Which reminders to list; those that are still open, by default."""

    kind = Choice(ReminderKind)
    state = Choice(ReminderState)
    due = Truth(metadata={"description": "Only those that are due now, or only those that are not yet."})
    due_before = Instant()
    instrument_id = Id()
    owner_id = Id()
    closed = Truth(load_default=False, metadata={"description": "Those that are done or cancelled instead."})


class ReminderAnswerIn(StrictSchema):
    """What becomes of a reminder.

    `snoozed` names until when. `done` names the sheet that did it, where readings are asked for.
    """

    answer = Choice(("acknowledged", "snoozed", "done", "cancelled"), required=True)
    until = Instant(**_NONE)
    sheet_id = Id(**_NONE)
    note = Text(max=1000, **_NONE)


class ReminderEventOut(StrictSchema):
    """What happened to a reminder."""

    sequence = Whole()
    at = Instant()
    what = Choice(ReminderHappening)
    due_at = Instant()
    note = Text(max=1000, allow_none=True)
    technician_id = Id(allow_none=True)


class ReminderHistoryOut(StrictSchema):
    """What happened to a reminder, the first first."""

    items = ListOf(Nested(ReminderEventOut), max=10_000)


class CalendarIn(StrictSchema):
    """A calendar for calendar programs; without an owner it holds the whole shop's reminders."""

    name = Text(max=200, required=True)
    kinds = ListOf(Choice(ReminderKind), max=4, unique=True, load_default=list)
    owner_id = Id(**_NONE)


class CalendarOut(StrictSchema):
    """A calendar; its secret address is told once."""

    id = Id()
    version = Whole()
    created_at = Instant()
    updated_at = Instant()
    name = Text()
    kinds = ListOf(Choice(ReminderKind))
    owner_id = Id(allow_none=True)
    revoked_at = Instant(allow_none=True)
    path = Text(
        max=200,
        allow_none=True,
        metadata={"secret": True, "description": "Where it is; null but in the answer that makes it."},
    )

"""Climates, rooms and their air, forecasts, reminders and calendars as the service answers them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from ._quantity import Quantity
from ._records import Stored
from ._wire import Record


@dataclass(kw_only=True)
class ClimateMonth(Record):
    """Outdoor means of a month."""

    month: int = 0
    temperature: Quantity | None = None
    dew_point: Quantity | None = None
    relative_humidity: Quantity | None = None
    vapour_pressure: Quantity | None = None


@dataclass(kw_only=True)
class Climate(Stored):
    """Monthly outdoor normals of a place."""

    name: str = ""
    place: str | None = None
    source: str = ""
    origin: str = ""
    months: list[ClimateMonth] = field(default_factory=list)
    hours_used: int | None = None
    hours_left_out: int | None = None


@dataclass(kw_only=True)
class Room(Stored):
    """A room that instruments live in; its profile as it travels."""

    name: str = ""
    use: str = ""
    climate_id: str | None = None
    profile: dict[str, Any] = field(default_factory=dict)
    note: str | None = None


@dataclass(kw_only=True)
class Hygrometer(Stored):
    """A hygrometer and the room it hangs in."""

    name: str = ""
    room_id: str | None = None
    active: bool = True
    note: str | None = None


@dataclass(kw_only=True)
class SaltCheck(Stored):
    """What a hygrometer showed over two salts: corrected = gain · shown + offset from then on."""

    hygrometer_id: str = ""
    checked_at: datetime | None = None
    gain: float | None = None
    offset: Quantity | None = None
    uncertainty: Quantity | None = None
    meaning: str = ""


@dataclass(kw_only=True)
class RoomReading(Stored):
    """A reading of a room's air, as shown and corrected."""

    room_id: str = ""
    hygrometer_id: str | None = None
    taken_at: datetime | None = None
    temperature: Quantity | None = None
    shown: Quantity | None = None
    relative_humidity: Quantity | None = None
    uncertainty: Quantity | None = None
    confirmed: bool = False
    note: str | None = None


@dataclass(kw_only=True)
class LogGap(Record):
    """A pause in a log that is much longer than usual."""

    begins: datetime | None = None
    ends: datetime | None = None
    hours: float | None = None


@dataclass(kw_only=True)
class LogOutcome(Record):
    """What became of every reading that was sent; those that were known already in `raw`."""

    room_id: str = ""
    sent: int = 0
    stored: int = 0
    reordered: int = 0
    gaps: list[LogGap] = field(default_factory=list)
    first: datetime | None = None
    last: datetime | None = None


@dataclass(kw_only=True)
class RoomRemark(Record):
    """What is wrong with a room's air."""

    code: str = ""
    text: str = ""
    value: Quantity | None = None
    since: datetime | None = None


@dataclass(kw_only=True)
class RoomWarning(RoomRemark):
    """What was wrong with a room's air, from when to when, and for which instruments."""

    id: str = ""
    room_id: str = ""
    ended_at: datetime | None = None
    instruments: list[str] = field(default_factory=list)


@dataclass(kw_only=True)
class RoomNow(Record):
    """A room's newest reading, and what it means for the instruments in it."""

    room_id: str = ""
    newest: RoomReading | None = None
    fit_for_verdicts: bool = False
    warnings: list[RoomRemark] = field(default_factory=list)
    instruments: list[str] = field(default_factory=list)


@dataclass(kw_only=True)
class Keeping(Record):
    """Where an instrument lives and how much it is played."""

    instrument_id: str = ""
    version: int | None = None
    room_id: str | None = None
    climate_id: str | None = None
    hours_per_week: float | None = None
    reminders: bool = True


@dataclass(kw_only=True)
class ForecastDay(Record):
    """A day of the forecast; the band reaches two standard deviations each way."""

    day: date | None = None
    expected: Quantity | None = None
    sd: Quantity | None = None
    low: Quantity | None = None
    high: Quantity | None = None
    probability_out: float | None = None
    moisture_change: Quantity | None = None


@dataclass(kw_only=True)
class ForecastCurve(Record):
    """One quantity's forecast from its last final reading on."""

    quantity: str = ""
    side: str | None = None
    string: int | None = None
    value: Quantity | None = None
    lower: Quantity | None = None
    upper: Quantity | None = None
    sensitivities: list[dict[str, Any]] = field(default_factory=list)
    days: list[ForecastDay] = field(default_factory=list)


@dataclass(kw_only=True)
class RoomDay(Record):
    """A day of the room's air, and the moisture that wood would come to in it."""

    day: date | None = None
    temperature: Quantity | None = None
    relative_humidity: Quantity | None = None
    wood_moisture: Quantity | None = None


@dataclass(kw_only=True)
class Forecast(Record):
    """What the seasons will do to an instrument, and when to look again."""

    instrument_id: str = ""
    today: date | None = None
    read_on: date | None = None
    recheck_on: date | None = None
    cause: str = ""
    sentence: str = ""
    air: dict[str, Any] = field(default_factory=dict)
    warnings: list[RoomRemark] = field(default_factory=list)
    quantities: list[ForecastCurve] = field(default_factory=list)
    room: list[RoomDay] = field(default_factory=list)


@dataclass(kw_only=True)
class SeasonSettings(Record):
    """How the shop forecasts: its climate, how its rooms and homes are kept, when to look; as it travels."""

    version: int | None = None
    climate_id: str | None = None
    shop: dict[str, Any] = field(default_factory=dict)
    home: dict[str, Any] = field(default_factory=dict)
    earliest_days: int | None = None
    moisture_limit: Quantity | None = None


@dataclass(kw_only=True)
class Sensitivity(Record):
    """What this shop's readings have taught of how relief or saddle height answers moisture."""

    of: str = ""
    level: str = ""
    subject_id: str | None = None
    per_moisture_percent: Quantity | None = None
    sd: Quantity | None = None
    samples: int = 0
    learned_at: datetime | None = None


@dataclass(kw_only=True)
class Reminder(Stored):
    """Something that wants to be looked at again."""

    kind: str = ""
    state: str = ""
    instrument_id: str = ""
    instrument: str = ""
    serial: str | None = None
    owner_id: str | None = None
    job_id: str | None = None
    job_number: int | None = None
    due_at: datetime | None = None
    due_on: date | None = None
    all_day: bool = True
    due: bool = False
    snoozed_until: datetime | None = None
    sentence: str = ""
    probability_out: float | None = None
    closed_at: datetime | None = None
    sheet_id: str | None = None


@dataclass(kw_only=True)
class ReminderEvent(Record):
    """What happened to a reminder."""

    sequence: int = 0
    at: datetime | None = None
    what: str = ""
    due_at: datetime | None = None
    note: str | None = None
    technician_id: str | None = None


@dataclass(kw_only=True)
class Calendar(Stored):
    """A calendar for calendar programs; its secret path is told once, when it is made."""

    name: str = ""
    kinds: list[str] = field(default_factory=list)
    owner_id: str | None = None
    revoked_at: datetime | None = None
    path: str | None = field(default=None, repr=False)

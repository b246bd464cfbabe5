"""Climates, rooms and their air, where instruments live, what was learned of them, and reminders."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, Index, LargeBinary, String, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from ..words import (
    ClimateOrigin,
    Movable,
    Quantity,
    ReminderHappening,
    ReminderKind,
    ReminderState,
    RoomUse,
    Side,
)
from .base import Base, Identified, Json, Versioned, check, words

STILL_OPEN = "closed_at IS NULL"
LASTING = "ended_at IS NULL"


class Climate(Versioned, Base):
    """Monthly outdoor normals of a place."""

    __tablename__ = "climates"
    __table_args__ = (UniqueConstraint("name"), Index("ix_climates_place", "place"))

    name: Mapped[str] = mapped_column(String(200))
    place: Mapped[str | None] = mapped_column(String(200))
    source: Mapped[str] = mapped_column(String(1000))
    origin: Mapped[ClimateOrigin] = mapped_column(words(ClimateOrigin, "origin"))
    temperature: Mapped[list[Any]] = mapped_column(Json)
    """Means of January to December [degC]."""
    vapour_pressure: Mapped[list[Any]] = mapped_column(Json)
    """Means of January to December [Pa]."""
    given: Mapped[dict[str, Any]] = mapped_column(Json, default=dict)
    """What the vapour pressure comes from: the measure's name and its twelve values, as typed."""
    details: Mapped[dict[str, Any]] = mapped_column(Json, default=dict)
    """Of a file: position, days and hours used, what was left out and why."""


class SeasonSettings(Versioned, Base):
    """How the shop forecasts: its own climate, and how rooms are kept where nothing else is said."""

    __tablename__ = "season_settings"
    __table_args__ = (check("singleton = 1", "one_row"), UniqueConstraint("singleton"))

    singleton: Mapped[int] = mapped_column(default=1)
    climate_id: Mapped[UUID | None] = mapped_column(ForeignKey("climates.id"))
    shop_profile: Mapped[dict[str, Any]] = mapped_column(Json)
    home_profile: Mapped[dict[str, Any]] = mapped_column(Json)
    earliest_days: Mapped[int] = mapped_column(default=14)
    moisture_limit: Mapped[float] = mapped_column(default=2.0)


class Room(Versioned, Base):
    """A room that instruments live in: the shop's, or an owner's at home."""

    __tablename__ = "rooms"
    __table_args__ = (UniqueConstraint("name"),)

    name: Mapped[str] = mapped_column(String(200), info={"personal": True})
    """A home is often called after who lives there."""
    use: Mapped[RoomUse] = mapped_column(words(RoomUse, "use"))
    climate_id: Mapped[UUID | None] = mapped_column(ForeignKey("climates.id"))
    """Null: the shop's."""
    profile: Mapped[dict[str, Any]] = mapped_column(Json, default=dict)
    """What differs from the profile for its use."""
    note: Mapped[str | None] = mapped_column(String(1000), info={"personal": True})


class Hygrometer(Versioned, Base):
    """A hygrometer and the room it hangs in."""

    __tablename__ = "hygrometers"
    __table_args__ = (UniqueConstraint("name"), Index("ix_hygrometers_room_id", "room_id"))

    name: Mapped[str] = mapped_column(String(200))
    room_id: Mapped[UUID | None] = mapped_column(ForeignKey("rooms.id"))
    active: Mapped[bool] = mapped_column(default=True)
    note: Mapped[str | None] = mapped_column(String(1000))


class HygrometerSaltCheck(Identified, Base):
    """What a hygrometer showed over two saturated salts, and the correction that follows; appended."""

    __tablename__ = "hygrometer_checks"
    __table_args__ = (Index("ix_hygrometer_checks_hygrometer", "hygrometer_id", "checked_at"),)

    hygrometer_id: Mapped[UUID] = mapped_column(ForeignKey("hygrometers.id"))
    checked_at: Mapped[datetime]
    temperature: Mapped[float]
    low_salt: Mapped[str] = mapped_column(String(20))
    low_reading: Mapped[float]
    high_salt: Mapped[str] = mapped_column(String(20))
    high_reading: Mapped[float]
    gain: Mapped[float]
    offset: Mapped[float]
    uncertainty: Mapped[float]
    meaning: Mapped[str] = mapped_column(String(1000))
    technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))


class RoomReading(Base):
    """One reading of a room's air; never edited, never deleted."""

    __tablename__ = "room_readings"
    __table_args__ = (
        UniqueConstraint("room_id", "device", "taken_at"),
        Index("ix_room_readings_room_day", "room_id", "day"),
        {"info": {"audited": False}},
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    """Made by the client; of a line of a file, from the room, the hygrometer and the instant."""
    fingerprint: Mapped[str] = mapped_column(String(64))
    room_id: Mapped[UUID] = mapped_column(ForeignKey("rooms.id"))
    hygrometer_id: Mapped[UUID | None] = mapped_column(ForeignKey("hygrometers.id"))
    device: Mapped[str] = mapped_column(String(36), default="")
    """The hygrometer's id, or empty: one device says one thing at one instant."""
    taken_at: Mapped[datetime]
    day: Mapped[date]
    """In the shop's zone."""
    received_at: Mapped[datetime]
    temperature: Mapped[float]
    shown: Mapped[float]
    """Humidity as the hygrometer showed it [% RH]."""
    relative_humidity: Mapped[float]
    """With the correction of the salt check that held then [% RH]."""
    uncertainty: Mapped[float]
    check_id: Mapped[UUID | None] = mapped_column(ForeignKey("hygrometer_checks.id"))
    typed: Mapped[dict[str, Any]] = mapped_column(Json)
    confirmed: Mapped[bool] = mapped_column(default=False)
    clock_confirmed: Mapped[bool] = mapped_column(default=False)
    key_id: Mapped[UUID | None] = mapped_column(ForeignKey("api_keys.id"))
    technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))
    note: Mapped[str | None] = mapped_column(String(1000))


class RoomAlert(Identified, Base):
    """A room was too dry, too damp or moved too fast, from when to when."""

    __tablename__ = "room_alerts"
    __table_args__ = (
        Index("uq_room_alerts_lasting", "room_id", "code", unique=True,
              sqlite_where=text(LASTING), postgresql_where=text(LASTING)),
        {"info": {"audited": False}},
    )  # fmt: skip

    room_id: Mapped[UUID] = mapped_column(ForeignKey("rooms.id"))
    code: Mapped[str] = mapped_column(String(40))
    since: Mapped[datetime]
    value: Mapped[float]
    """The humidity, or the swing, that stood furthest out so far [% RH]."""
    meaning: Mapped[str] = mapped_column(String(1000))
    ended_at: Mapped[datetime | None]


class Keeping(Versioned, Base):
    """Where an instrument lives and how much it is played."""

    __tablename__ = "keepings"
    __table_args__ = (
        UniqueConstraint("instrument_id"),
        Index("ix_keepings_room_id", "room_id"),
        check("hours_per_week IS NULL OR hours_per_week BETWEEN 0 AND 168", "hours_per_week"),
    )

    instrument_id: Mapped[UUID] = mapped_column(ForeignKey("instruments.id"))
    room_id: Mapped[UUID | None] = mapped_column(ForeignKey("rooms.id"))
    climate_id: Mapped[UUID | None] = mapped_column(ForeignKey("climates.id"))
    hours_per_week: Mapped[float | None]
    reminders: Mapped[bool] = mapped_column(default=True)
    """False: the owner wants none of the seasonal and string reminders."""


class WatchedQuantity(Base):
    """One quantity of one instrument as the last final reading left it: what the nightly pass works on.

    Made from other tables whenever one of them changes; nothing is lost when it is made again.
    """

    __tablename__ = "watched_quantities"
    __table_args__ = (Index("ix_watched_quantities_model_id", "model_id"), {"info": {"audited": False}})

    instrument_id: Mapped[UUID] = mapped_column(ForeignKey("instruments.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    model_id: Mapped[UUID] = mapped_column(ForeignKey("instrument_models.id"))
    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))
    sheet_id: Mapped[UUID] = mapped_column(ForeignKey("reading_sheets.id"))
    basis: Mapped[str] = mapped_column(String(80))
    """Stage and job of the readings: several sheets of one final check are one basis."""
    read_on: Mapped[date]
    quantity: Mapped[Quantity] = mapped_column(words(Quantity, "quantity"))
    side: Mapped[Side | None] = mapped_column(words(Side, "side"))
    string: Mapped[int | None]
    value: Mapped[float]
    uncertainty: Mapped[float]
    lower: Mapped[float | None]
    upper: Mapped[float | None]
    relief_factor: Mapped[float]
    """The quantity's change per mm of relief held first to last and read at the 8th fret."""
    neck_tau: Mapped[list[Any]] = mapped_column(Json)
    top_tau: Mapped[list[Any] | None] = mapped_column(Json)
    saddle_factor: Mapped[float]
    """The quantity's change per mm of saddle height."""
    place: Mapped[str] = mapped_column(String(2000))
    """Which air it lives in: a room, or a climate and a profile."""


class SeasonMark(Base):
    """Something changed that the forecasts depend on, noted in the same transaction; the worker takes it."""

    __tablename__ = "season_marks"
    __table_args__ = ({"info": {"audited": False}},)

    what: Mapped[str] = mapped_column(String(80), primary_key=True)
    """`instrument:<id>`, `model:<id>`, `kind:<kind>`, `room:<id>` or `all`; `remind:<id>` for an
    instrument whose room's air changed; and what the worker notes for itself."""
    marked_at: Mapped[datetime]
    turn: Mapped[int]
    """Rises with each mark: the worker deletes only the turn that it has seen."""


class LearnedSensitivity(Base):
    """What this shop's readings have taught of how strongly setups answer moisture."""

    __tablename__ = "learned_sensitivities"
    __table_args__ = (
        check("level IN ('shop', 'model', 'instrument')", "level"),
        {"info": {"audited": False}},
    )

    moves: Mapped[Movable] = mapped_column(words(Movable, "moves"), primary_key=True)
    level: Mapped[str] = mapped_column(String(20), primary_key=True)
    subject: Mapped[str] = mapped_column(String(36), primary_key=True)
    """The model's or instrument's id; `shop` for the shop."""
    mean: Mapped[float]
    sd: Mapped[float]
    samples: Mapped[int]
    learned_at: Mapped[datetime]


class Reminder(Versioned, Base):
    """Something that wants to be looked at again. One open reminder per instrument and kind."""

    __tablename__ = "reminders"
    __table_args__ = (
        Index("uq_reminders_open", "instrument_id", "kind", unique=True,
              sqlite_where=text(STILL_OPEN), postgresql_where=text(STILL_OPEN)),
        Index("ix_reminders_due", "due_at", "id",
              sqlite_where=text(STILL_OPEN), postgresql_where=text(STILL_OPEN)),
        Index("ix_reminders_closed_at", "closed_at"),
        check("(state IN ('done', 'cancelled')) = (closed_at IS NOT NULL)", "closed_with_its_state"),
        check("(state = 'snoozed') = (snoozed_until IS NOT NULL)", "snoozed_until_when"),
        {"info": {"audited": False}},
    )  # fmt: skip

    kind: Mapped[ReminderKind] = mapped_column(words(ReminderKind, "kind"))
    state: Mapped[ReminderState] = mapped_column(words(ReminderState, "state"))
    instrument_id: Mapped[UUID] = mapped_column(ForeignKey("instruments.id"))
    job_id: Mapped[UUID | None] = mapped_column(ForeignKey("jobs.id"))
    """Of a settling neck: the job. Of the seasons: the job of the last final reading."""
    basis: Mapped[str] = mapped_column(String(80))
    """What it stands on: a final check, strings fitted on a day, a rest. A new one, a new reminder."""
    due_at: Mapped[datetime]
    all_day: Mapped[bool]
    reason: Mapped[dict[str, Any]] = mapped_column(Json)
    """The numbers behind it, in kept units."""
    told_due_at: Mapped[datetime | None]
    """When the events said that it is due."""
    snoozed_until: Mapped[datetime | None]
    closed_at: Mapped[datetime | None]
    sheet_id: Mapped[UUID | None] = mapped_column(ForeignKey("reading_sheets.id"))
    """The sheet that did it."""


class ReminderEvent(Identified, Base):
    """What happened to a reminder, by whom; appended."""

    __tablename__ = "reminder_events"
    __table_args__ = (UniqueConstraint("reminder_id", "sequence"), {"info": {"audited": False}})

    reminder_id: Mapped[UUID] = mapped_column(ForeignKey("reminders.id"))
    sequence: Mapped[int]
    what: Mapped[ReminderHappening] = mapped_column(words(ReminderHappening, "what"))
    due_at: Mapped[datetime]
    note: Mapped[str | None] = mapped_column(String(1000))
    key_id: Mapped[UUID | None] = mapped_column(ForeignKey("api_keys.id"))
    technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))


class Calendar(Versioned, Base):
    """A calendar that a calendar program subscribes to under a secret address."""

    __tablename__ = "calendars"
    __table_args__ = (UniqueConstraint("token_hash"), Index("ix_calendars_owner_id", "owner_id"))

    name: Mapped[str] = mapped_column(String(200), info={"personal": True})
    token_hash: Mapped[bytes] = mapped_column(LargeBinary(32), info={"secret": True})
    kinds: Mapped[list[Any]] = mapped_column(Json, default=list)
    """Of which kinds; empty means all."""
    owner_id: Mapped[UUID | None] = mapped_column(ForeignKey("owners.id"))
    """Null: of all instruments."""
    revoked_at: Mapped[datetime | None]

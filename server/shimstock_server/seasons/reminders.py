"""Reminders as people see and answer them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.bench import Reading, ReadingSheet
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import Reminder, ReminderEvent
from shimstock_server.database.words import (
    Quantity,
    ReminderHappening,
    ReminderKind,
    ReminderState,
    Stage,
)
from shimstock_server.owners import fit_strings
from shimstock_server.shop import local_day, settings
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields

from .problems import ReminderClosed
from .sentences import sentence_of

LONGEST_SNOOZE = timedelta(days=366)
CLOSED = (ReminderState.DONE, ReminderState.CANCELLED)


def listed(query: Mapping[str, Any], *, now: datetime) -> Any:
    """Return the statement for a list of reminders, with what is told beside each."""
    due_at = func.coalesce(Reminder.snoozed_until, Reminder.due_at)
    statement = _told_rows().where(
        Reminder.closed_at.is_not(None) if _wants_closed(query) else Reminder.closed_at.is_(None)
    )
    for name in ("kind", "state", "instrument_id"):
        if name in query:
            statement = statement.where(getattr(Reminder, name) == query[name])
    if "owner_id" in query:
        statement = statement.where(Instrument.owner_id == query["owner_id"])
    if "due" in query:
        statement = statement.where(due_at <= now if query["due"] else due_at > now)
    if "due_before" in query:
        statement = statement.where(due_at < query["due_before"])
    return statement


def _wants_closed(query: Mapping[str, Any]) -> bool:
    return bool(query.get("closed")) or query.get("state") in CLOSED


def _told_rows() -> Any:
    return (
        select(
            Reminder,
            InstrumentModel.maker,
            InstrumentModel.name,
            Instrument.owner_id,
            Job.number,
            Instrument.serial,
        )
        .join(Instrument, Instrument.id == Reminder.instrument_id)
        .join(InstrumentModel, InstrumentModel.id == Instrument.model_id)
        .outerjoin(Job, Job.id == Reminder.job_id)
    )


def one(session: Session, reminder_id: UUID) -> Any:
    """Return a reminder with what is told beside it."""
    return session.execute(_told_rows().where(Reminder.id == reminder_id)).one()


def told(row: Any, units: str, zone: ZoneInfo, *, now: datetime) -> dict[str, Any]:
    """Return a reminder as it is answered."""
    reminder, maker, name, owner_id, number, serial = row
    due_at = reminder.snoozed_until or reminder.due_at
    names = (
        "id", "version", "created_at", "updated_at", "kind", "state", "instrument_id", "job_id", "due_at",
        "all_day", "snoozed_until", "closed_at", "sheet_id",
    )  # fmt: skip
    return {each: getattr(reminder, each) for each in names} | {
        "instrument": f"{maker} {name}",
        "serial": serial,
        "owner_id": owner_id,
        "job_number": number,
        "due_on": reminder.due_at.astimezone(zone).date(),
        "due": reminder.closed_at is None and due_at <= now,
        "sentence": sentence_of(reminder.kind.value, reminder.reason, units),
        "probability_out": reminder.reason.get("probability_out"),
    }


def zone_of(session: Session) -> ZoneInfo:
    """Return the shop's zone."""
    return ZoneInfo(settings(session).zone)


def answer(
    session: Session, reminder: Reminder, wish: Mapping[str, Any], *, actor: Actor, now: datetime
) -> Reminder:
    """Acknowledge, snooze, do or cancel a reminder.

    Raises
    ------
    ReminderClosed
        When it is done or cancelled already.
    InvalidFields
        When it would be snoozed into the past, or be done by a sheet that did not do it.
    """
    if reminder.closed_at is not None:
        raise ReminderClosed
    what = ReminderHappening(wish["answer"])
    _check(session, reminder, wish, what, now)
    reminder.state = ReminderState(what.value)
    reminder.snoozed_until = wish["until"] if what is ReminderHappening.SNOOZED else None
    if what in (ReminderHappening.DONE, ReminderHappening.CANCELLED):
        reminder.closed_at = now
        reminder.sheet_id = wish["sheet_id"]
    if what is ReminderHappening.DONE and reminder.kind is ReminderKind.STRINGS:
        instrument = session.get_one(Instrument, reminder.instrument_id)
        fit_strings(session, instrument, string_set_id=None, tuning_id=None, day=local_day(session, now))
        emit(session, "instrument.changed", instrument)
    session.flush()
    last = session.scalar(
        select(func.max(ReminderEvent.sequence)).where(ReminderEvent.reminder_id == reminder.id)
    )
    session.add(
        ReminderEvent(
            reminder_id=reminder.id,
            sequence=(last or 0) + 1,
            what=what,
            due_at=wish["until"] or reminder.due_at,
            note=wish["note"],
            key_id=actor.key_id,
            technician_id=actor.technician_id,
        )
    )
    emit(
        session, f"reminder.{what.value}", reminder, kind=reminder.kind, instrument=reminder.instrument_id,
        job=reminder.job_id, due_at=reminder.due_at, sheet=reminder.sheet_id,
    )  # fmt: skip
    return reminder


def _check(
    session: Session, reminder: Reminder, wish: Mapping[str, Any], what: ReminderHappening, now: datetime
) -> None:
    errors: dict[str, str] = {}
    until, sheet_id = wish["until"], wish["sheet_id"]
    if what is ReminderHappening.SNOOZED:
        if until is None:
            errors["/until"] = "say until when it is snoozed"
        elif not now < until <= now + LONGEST_SNOOZE:
            errors["/until"] = "must lie ahead, by a year at the most"
    elif until is not None:
        errors["/until"] = "only a reminder that is snoozed has this"
    if what is ReminderHappening.DONE:
        errors |= _sheet_errors(session, reminder, sheet_id)
    elif sheet_id is not None:
        errors["/sheet_id"] = "only a reminder that is done has this"
    if what is ReminderHappening.CANCELLED and not wish["note"]:
        errors["/note"] = "say why it is cancelled"
    if errors:
        raise InvalidFields.of(errors)


def _sheet_errors(session: Session, reminder: Reminder, sheet_id: UUID | None) -> dict[str, str]:
    if reminder.kind is ReminderKind.STRINGS:
        return {} if sheet_id is None else {"/sheet_id": "new strings need no sheet; leave it out"}
    if sheet_id is None:
        wanted = (
            "recheck sheet" if reminder.kind is ReminderKind.SEASONAL else "sheet with the reading of relief"
        )
        return {"/sheet_id": f"name the {wanted} that did it; a sheet that is posted does it by itself"}
    sheet = session.get(ReadingSheet, sheet_id)
    job = None if sheet is None else session.get(Job, sheet.job_id)
    if sheet is None or job is None or job.instrument_id != reminder.instrument_id:
        return {"/sheet_id": "no sheet of this instrument has this id"}
    if sheet.counts_at <= reminder.created_at and reminder.basis != f"rest:{job.id}":
        newer = sheet.received_at > reminder.created_at
        if not newer:
            return {"/sheet_id": "was taken before this reminder was made"}
    if reminder.kind is ReminderKind.SEASONAL:
        if sheet.stage not in (Stage.RECHECK, Stage.FINAL):
            return {"/sheet_id": f"is a sheet of stage {sheet.stage.value}; a recheck is asked for"}
        return {}
    has_relief = session.scalar(
        select(Reading.number)
        .where(Reading.sheet_id == sheet_id, Reading.quantity == Quantity.RELIEF)
        .limit(1)
    )
    return {} if has_relief is not None else {"/sheet_id": "holds no reading of relief"}


def history(session: Session, reminder_id: UUID) -> list[dict[str, Any]]:
    """Return what happened to a reminder, the first first."""
    rows = session.scalars(
        select(ReminderEvent).where(ReminderEvent.reminder_id == reminder_id).order_by(ReminderEvent.sequence)
    )
    return [
        {
            "sequence": row.sequence,
            "at": row.created_at,
            "what": row.what,
            "due_at": row.due_at,
            "note": row.note,
            "technician_id": row.technician_id,
        }
        for row in rows
    ]

"""Reading sheets: checked whole, kept whole, never edited; a correction supersedes another sheet."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.catalogue import KIND_OF_VALUE
from shimstock_server.database.history import emit
from shimstock_server.database.tables.bench import MOST_AHEAD, Reading, ReadingSheet, oldest_first
from shimstock_server.database.tables.jobs import Claim, Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.web.context import Actor
from shimstock_server.web.idempotency import client_made
from shimstock_server.web.problems import ClockAhead, IdTaken, InvalidFields

from .problems import InstrumentUnknown, SheetSuperseded
from .reading import Frame, read_readings
from .spec import spec_of_job

CLOCK_TOLERANCE = timedelta(minutes=5)


def record_sheet(
    session: Session, job: Job, wish: dict[str, Any], *, fingerprint: str, actor: Actor, now: datetime
) -> tuple[ReadingSheet, bool]:
    """Keep a sheet of readings, all or nothing; tell whether it is new.

    Raises
    ------
    InvalidFields
        With every bad field at once: unknown strings, frets and tools, wrong units, impossible values.
    IdTaken
        When another sheet has this id.
    SheetSuperseded
        When the sheet that this one corrects was corrected before.
    """
    known = client_made(session, ReadingSheet, wish["id"], fingerprint)
    if known is not None:
        if known.job_id != job.id:
            raise IdTaken
        return known, False
    if job.instrument_id is None:
        raise InstrumentUnknown
    refuse_clock_ahead(wish["taken_at"], "/taken_at", confirmed=wish["confirm_clock"], now=now)
    instrument = session.get_one(Instrument, job.instrument_id)
    readings = read_readings(
        session,
        Frame.of_row(instrument.model),
        spec_of_job(session, job, instrument),
        wish,
        bench_id=actor.bench_id,
    )
    _check_superseded(session, job, wish)
    claim = session.get(Claim, job.claim_id) if job.claim_id is not None else None
    holds = claim is not None and claim.technician_id == actor.technician_id
    if claim is not None and holds:
        claim.last_act_at = now
    room = wish["room"]
    sheet = ReadingSheet(
        id=wish["id"],
        job_id=job.id,
        fingerprint=fingerprint,
        stage=wish["stage"],
        taken_at=wish["taken_at"],
        received_at=now,
        bench_id=actor.bench_id,
        technician_id=actor.technician_id,
        key_id=actor.key_id,
        outside_claim=not holds,
        clock_ahead_confirmed=wish["confirm_clock"] and wish["taken_at"] > now + CLOCK_TOLERANCE,
        position=wish["position"],
        at_pitch=wish["at_pitch"],
        acclimatised=wish["acclimatised"],
        room_temperature=room["temperature"].value if room else None,
        room_humidity=room["relative_humidity"].value if room else None,
        room_typed=_room_typed(room),
        string_set_id=instrument.string_set_id or instrument.model.string_set_id,
        findings=[dict(finding, code=finding["code"].value) for finding in wish["findings"]],
        looked_over=wish["looked_over"] or bool(wish["findings"]),
        note=wish["note"],
        supersedes_id=wish["supersedes"],
        supersedes_reason=wish["supersedes_reason"],
        readings=readings,
    )
    session.add(sheet)
    session.flush()
    emit(session, "job.readings", job, sheet=str(sheet.id), stage=sheet.stage.value)
    return sheet, True


def refuse_clock_ahead(instant: datetime, pointer: str, *, confirmed: bool, now: datetime) -> None:
    """Refuse a time that lies ahead of the service's clock, unless it is confirmed; far ahead in any case."""
    if instant > now + MOST_AHEAD:
        hours = round((instant - now).total_seconds() / 3600)
        raise ClockAhead(
            errors=[
                {
                    "pointer": pointer,
                    "message": f"lies {hours} hours ahead of the service's clock; more than 48 cannot be "
                    "confirmed: set the bench's clock, and send when it was",
                }
            ]
        )
    if instant > now + CLOCK_TOLERANCE and not confirmed:
        ahead = round((instant - now).total_seconds() / 60)
        raise ClockAhead(
            errors=[
                {
                    "pointer": pointer,
                    "message": f"lies {ahead} minutes ahead of the service's clock: set the bench's clock, "
                    "or confirm it with confirm_clock",
                }
            ]
        )


def sheets_of(session: Session, job_id: UUID) -> list[ReadingSheet]:
    """Every sheet of a job, the oldest first, corrected ones included."""
    return oldest_first(session.scalars(select(ReadingSheet).where(ReadingSheet.job_id == job_id)))


def standing(sheets: Iterable[ReadingSheet]) -> list[ReadingSheet]:
    """The sheets that no later one corrects, in the order given."""
    sheets = list(sheets)
    corrected = {sheet.supersedes_id for sheet in sheets if sheet.supersedes_id is not None}
    return [sheet for sheet in sheets if sheet.id not in corrected]


def show_sheet(sheet: ReadingSheet, superseded_by: UUID | None) -> dict[str, Any]:
    """A sheet as it is answered."""
    names = (
        "id", "job_id", "stage", "taken_at", "received_at", "bench_id", "technician_id", "outside_claim",
        "position", "at_pitch", "acclimatised", "string_set_id", "findings", "looked_over", "note",
        "supersedes_reason",
    )  # fmt: skip
    shown: dict[str, Any] = {name: getattr(sheet, name) for name in names}
    room = None
    if sheet.room_temperature is not None:
        room = {
            "temperature": sheet.room_temperature,
            "relative_humidity": sheet.room_humidity,
            "typed": sheet.room_typed,
        }
    return shown | {
        "room": room,
        "supersedes": sheet.supersedes_id,
        "superseded_by": superseded_by,
        "readings": [show_reading(reading) for reading in sheet.readings],
    }


def show_reading(reading: Reading) -> dict[str, Any]:
    """A reading as it is answered."""
    names = (
        "number", "quantity", "side", "string", "pickup", "fret", "capo", "method", "value", "typed_value",
        "typed_unit", "zero_or_less", "tool_id", "tool_name", "resolution", "repeatability",
        "repeatability_source", "confirmed", "accepted", "note",
    )  # fmt: skip
    shown: dict[str, Any] = {name: getattr(reading, name) for name in names}
    return shown | {
        "kind": KIND_OF_VALUE[reading.quantity],
        "held": [fret for fret in (reading.hold_low, reading.hold_high) if fret is not None],
    }


def standing_readings(session: Session, job_id: UUID, *, wish: dict[str, Any]) -> list[dict[str, Any]]:
    """The readings that stand, the oldest first; only the newest of each place when that is asked for."""
    shown = [
        show_reading(reading)
        | {
            "sheet_id": sheet.id,
            "stage": sheet.stage,
            "taken_at": sheet.taken_at,
            "at_pitch": sheet.at_pitch,
        }
        for sheet in standing(sheets_of(session, job_id))
        for reading in sheet.readings
        if wish.get("stage") in (None, sheet.stage) and wish.get("quantity") in (None, reading.quantity)
    ]
    if not wish.get("newest"):
        return shown
    newest = {(each["quantity"], each["side"], each["string"], each["pickup"]): each for each in shown}
    return [
        each
        for each in shown
        if newest[each["quantity"], each["side"], each["string"], each["pickup"]] is each
    ]


def _room_typed(room: dict[str, Any] | None) -> dict[str, Any] | None:
    if room is None:
        return None
    return {
        f"{name}_{part}": str(value) if part == "unit" else value
        for name, quantity in room.items()
        for part, value in (("value", quantity.typed_value), ("unit", quantity.typed_unit))
    }


def _check_superseded(session: Session, job: Job, wish: dict[str, Any]) -> None:
    before, reason = wish["supersedes"], wish["supersedes_reason"]
    if before is None:
        if reason is not None:
            raise InvalidFields.at("/supersedes_reason", "only a sheet that supersedes another has this")
        return
    if reason is None:
        raise InvalidFields.at("/supersedes_reason", "say why the earlier sheet is corrected")
    corrected = session.get(ReadingSheet, before)
    if corrected is None or corrected.job_id != job.id:
        raise InvalidFields.at("/supersedes", "no sheet of this job has this id")
    later = session.scalar(select(ReadingSheet.id).where(ReadingSheet.supersedes_id == before))
    if later is not None:
        raise SheetSuperseded(superseded_by=str(later))

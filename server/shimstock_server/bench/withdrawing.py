"""Taking back what was told of an adjustment: it stays on record, says why, and counts no more."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.bench import Adjustment, Withdrawal, oldest_first, stands
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import Part
from shimstock_server.owners import put_back_strings
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields, NotFound

from .problems import AdjustmentWithdrawn


def adjustments_of(session: Session, job_id: UUID) -> list[Adjustment]:
    """Everything done on a job that was not taken back, the first first."""
    return oldest_first(
        session.scalars(select(Adjustment).where(Adjustment.job_id == job_id, stands(Adjustment)))
    )


def withdrawals(session: Session, adjustments: Iterable[Adjustment]) -> dict[UUID, Withdrawal]:
    """Return why adjustments count no more, by the adjustment's id."""
    ids = [adjustment.id for adjustment in adjustments]
    found = session.scalars(select(Withdrawal).where(Withdrawal.adjustment_id.in_(ids)))
    return {each.adjustment_id: each for each in found}


def withdraw(
    session: Session, job: Job, adjustment_id: UUID, reason: str, *, actor: Actor, now: datetime
) -> Withdrawal:
    """Take back what was told of an adjustment, because it was not done so.

    Strings that it put on are the instrument's no more, unless others were put on since; its minutes leave
    the job's.

    Raises
    ------
    NotFound
        When the job has no such adjustment.
    AdjustmentWithdrawn
        When it was taken back before.
    """
    adjustment = session.get(Adjustment, adjustment_id)
    if adjustment is None or adjustment.job_id != job.id:
        raise NotFound
    before = session.get(Withdrawal, adjustment_id)
    if before is not None:
        raise AdjustmentWithdrawn(replaced_by=str(before.replaced_by_id) if before.replaced_by_id else None)
    row = Withdrawal(
        adjustment_id=adjustment_id,
        reason=reason,
        withdrawn_at=now,
        technician_id=actor.technician_id,
        key_id=actor.key_id,
    )
    session.add(row)
    session.flush()
    if adjustment.part is Part.STRINGS:
        _take_strings_off(session, job, adjustment)
    job.worked_minutes = max(0, job.worked_minutes - (adjustment.minutes or 0))
    emit(session, "job.adjustment-withdrawn", job, adjustment=str(adjustment_id), part=adjustment.part.value)
    return row


def check_superseded(session: Session, job: Job, wish: dict[str, Any]) -> None:
    """Refuse a correction that says of no adjustment of this job why it is wrong."""
    before, reason = wish["supersedes"], wish["supersedes_reason"]
    if before is None:
        if reason is not None:
            raise InvalidFields.at(
                "/supersedes_reason", "only an adjustment that supersedes another has this"
            )
        return
    if reason is None:
        raise InvalidFields.at("/supersedes_reason", "say why the earlier adjustment is corrected")
    corrected = session.get(Adjustment, before)
    if corrected is None or corrected.job_id != job.id:
        raise InvalidFields.at("/supersedes", "no adjustment of this job has this id")


def _take_strings_off(session: Session, job: Job, adjustment: Adjustment) -> None:
    since = session.scalar(
        select(Adjustment.id)
        .join(Job, Job.id == Adjustment.job_id)
        .where(
            Job.instrument_id == job.instrument_id,
            Adjustment.part == Part.STRINGS,
            Adjustment.id != adjustment.id,
            Adjustment.done_at >= adjustment.done_at,
            stands(Adjustment),
        )
        .limit(1)
    )
    fitted_before = adjustment.fitted_before
    if since is not None or fitted_before is None or job.instrument_id is None:
        return
    put_back_strings(session, session.get_one(Instrument, job.instrument_id), _kept(fitted_before))


def fitted_on(instrument: Instrument) -> dict[str, str | None]:
    """Return what an instrument is strung with, as an adjustment keeps it."""
    fitted = (instrument.string_set_id, instrument.tuning_id, instrument.strings_fitted_on)
    return {name: None if value is None else str(value) for name, value in zip(_FITTED, fitted, strict=True)}


_FITTED = ("string_set_id", "tuning_id", "strings_fitted_on")


def _kept(fitted: dict[str, Any]) -> tuple[UUID | None, UUID | None, date | None]:
    string_set, tuning, day = (fitted[name] for name in _FITTED)
    return (
        UUID(string_set) if string_set else None,
        UUID(tuning) if tuning else None,
        date.fromisoformat(day) if day else None,
    )

"""Looks at a settling neck: when the next one is due, what it asks for, and what became of the earlier ones.

The neck answers a turn of the rod or a change of strings slowly: it is looked at again after the shop's rest,
two hours by default, and on the next day on which the shop is open. The first look decides whether relief has
settled; the second is a reminder that blocks nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.plan.inputs import LEAST_REST
from shimstock_server.database.tables.bench import Adjustment, Reading, ReadingSheet, stands
from shimstock_server.database.tables.jobs import Job, JobMove
from shimstock_server.database.words import OVER, JobState, Part, Quantity, SettleLook
from shimstock_server.shop import local_day, next_opening, open_minutes, settings

from .states import CLAIMED

DISTURBING = tuple(part for part in Part if part.term.slow)
"""What the neck answers slowly."""

WORTH_RESTING = timedelta(minutes=5)
"""What is left of a rest from which the job settles for that alone."""


@dataclass(frozen=True)
class Rest:
    """What a move to settling asks for."""

    look: SettleLook
    available_at: datetime
    readings: list[str]


def rest(
    session: Session, job: Job, *, look: SettleLook | None, available_at: datetime | None, now: datetime
) -> Rest:
    """Work out which look comes next, when it is due and what is to be read, where the bench does not say."""
    disturbed = _last_disturbance(session, job.id)
    look = look or _next_look(session, job, disturbed)
    return Rest(
        look=look,
        available_at=available_at or _due(session, look, disturbed, now),
        readings=[quantity.value for quantity in _readings(session, job.id)],
    )


def _last_disturbance(session: Session, job_id: UUID) -> Adjustment | None:
    return session.scalars(
        select(Adjustment)
        .where(Adjustment.job_id == job_id, Adjustment.part.in_(DISTURBING), stands(Adjustment))
        .order_by(Adjustment.done_at.desc(), Adjustment.id.desc())
        .limit(1)
    ).first()


def _next_look(session: Session, job: Job, disturbed: Adjustment | None) -> SettleLook:
    """The first look, unless the job has rested since it was last disturbed."""
    rests = _rests(session, job.id)
    since = [move for move in rests if disturbed is None or move.created_at >= disturbed.received_at]
    return SettleLook.DAY if since else SettleLook.HOUR


def _due(session: Session, look: SettleLook, disturbed: Adjustment | None, now: datetime) -> datetime:
    if look is SettleLook.DAY:
        return next_opening(session, now, after_days=1) or _tomorrow(session, now)
    rests_for = timedelta(minutes=max(settings(session).settle_first_minutes, LEAST_REST))
    due = now + rests_for
    if disturbed is not None and now + WORTH_RESTING < disturbed.done_at + rests_for < due:
        # It has rested on the bench already, since the last turn or string.
        due = disturbed.done_at + rests_for
    return next_opening(session, due) or due


def _tomorrow(session: Session, now: datetime) -> datetime:
    """The same wall time on the next day, for a shop that names no hours."""
    zone = ZoneInfo(settings(session).zone)
    return (now.astimezone(zone) + timedelta(days=1)).astimezone(UTC)


def _readings(session: Session, job_id: UUID) -> list[Quantity]:
    """Relief decides, action follows it; new strings stretch, so that intonation moves too."""
    restrung = session.scalars(
        select(Adjustment.id)
        .where(Adjustment.job_id == job_id, Adjustment.part == Part.STRINGS, stands(Adjustment))
        .limit(1)
    ).first()
    asked = [Quantity.RELIEF, Quantity.ACTION]
    return [*asked, Quantity.INTONATION] if restrung is not None else asked


def late_minutes(session: Session, due: datetime, at: datetime) -> int:
    """How late a look was or is [min]; hours in which the shop is shut do not count."""
    return open_minutes(session, due, at) if at > due else 0


def asked_now(session: Session, job: Job, *, now: datetime) -> dict[str, Any]:
    """Which look a job settles for or came back for: what is still to be read, and how late it is."""
    nothing: dict[str, Any] = {"look": None, "readings_asked": [], "late_minutes": None}
    if job.state is not JobState.SETTLING and job.state not in CLAIMED:
        return nothing
    rests = _rests(session, job.id)
    if not rests:
        return nothing
    last = rests[-1]
    moves = _moves_after(session, last)
    taken = [move for move in moves if move.to_state is JobState.ON_BENCH]
    read = _read_since(session, last)
    return {
        "look": last.look,
        "readings_asked": [quantity for quantity in last.readings_asked or [] if quantity not in read],
        "late_minutes": late_minutes(
            session, last.available_at or last.created_at, taken[0].created_at if taken else now
        ),
    }


def looks(session: Session, job: Job, *, now: datetime) -> list[dict[str, Any]]:
    """Every look that a job was put to settle for, the first first, and the next day's where nobody asked."""
    rests = _rests(session, job.id)
    sheets = _sheets_with(session, job.id, Quantity.RELIEF)
    ends = [*(move.created_at for move in rests[1:]), None][: len(rests)]
    told = [
        _told(session, job, move, _looked(sheets, move, end), end=end, now=now)
        for move, end in zip(rests, ends, strict=True)
    ]
    return told + _next_day(session, job, rests, sheets, now=now)


def _told(
    session: Session, job: Job, move: JobMove, looked: datetime | None, *, end: datetime | None, now: datetime
) -> dict[str, Any]:
    due = move.available_at or move.created_at
    claims = [later for later in _moves_after(session, move) if later.to_state is JobState.ON_BENCH]
    taken_at = claims[0].created_at if claims else None
    if looked is not None:
        outcome = "early" if looked < due else "read"
    elif taken_at is None:
        outcome = "settling" if now < due else "due"
    else:
        outcome = "skipped" if end is not None or job.state not in CLAIMED else "on-bench"
    at = looked or taken_at or now
    return {
        "sequence": move.sequence,
        "look": move.look,
        "rested_from": move.created_at,
        "available_at": due,
        "taken_at": taken_at,
        "read_at": looked,
        "readings_asked": move.readings_asked or [],
        "late_minutes": late_minutes(session, due, at),
        "outcome": outcome,
    }


def _next_day(
    session: Session, job: Job, rests: Sequence[JobMove], sheets: Sequence[datetime], *, now: datetime
) -> list[dict[str, Any]]:
    """The next day's look, where the rod or the strings were touched and no rest was for it."""
    disturbed = _last_disturbance(session, job.id)
    if disturbed is None or job.state is JobState.SETTLING:
        return []
    if any(move.look is SettleLook.DAY and move.created_at >= disturbed.received_at for move in rests):
        return []
    due = next_opening(session, disturbed.done_at, after_days=1) or _tomorrow(session, disturbed.done_at)
    day = local_day(session, due)
    looked = next((taken_at for taken_at in sheets if local_day(session, taken_at) >= day), None)
    until = looked or now
    if looked is not None:
        outcome = "read"
    elif job.state in OVER:
        outcome = "skipped"
        until = session.get_one(JobMove, job.move_id).created_at
    else:
        outcome = "due" if now >= due else "settling"
    return [
        {
            "sequence": None,
            "look": SettleLook.DAY,
            "rested_from": disturbed.done_at,
            "available_at": due,
            "taken_at": None,
            "read_at": looked,
            "readings_asked": [quantity.value for quantity in _readings(session, job.id)],
            "late_minutes": late_minutes(session, due, until),
            "outcome": outcome,
        }
    ]


def _rests(session: Session, job_id: UUID) -> list[JobMove]:
    return list(
        session.scalars(
            select(JobMove)
            .where(JobMove.job_id == job_id, JobMove.to_state == JobState.SETTLING)
            .order_by(JobMove.sequence)
        )
    )


def _moves_after(session: Session, move: JobMove) -> list[JobMove]:
    return list(
        session.scalars(
            select(JobMove)
            .where(JobMove.job_id == move.job_id, JobMove.sequence > move.sequence)
            .order_by(JobMove.sequence)
        )
    )


def _standing(job_id: UUID) -> Any:
    """The sheets of a job that no other sheet corrects."""
    return (ReadingSheet.job_id == job_id, stands(ReadingSheet), ReadingSheet.at_pitch)


def _sheets_with(session: Session, job_id: UUID, quantity: Quantity) -> list[datetime]:
    """When a quantity was read on this job, at pitch; the earliest first."""
    return list(
        session.scalars(
            select(ReadingSheet.taken_at)
            .where(*_standing(job_id))
            .where(
                ReadingSheet.id.in_(
                    select(Reading.sheet_id).where(
                        Reading.sheet_id == ReadingSheet.id, Reading.quantity == quantity
                    )
                )
            )
            .order_by(ReadingSheet.taken_at, ReadingSheet.id)
        )
    )


def _read_since(session: Session, move: JobMove) -> set[str]:
    return {
        quantity.value
        for quantity in session.scalars(
            select(Reading.quantity)
            .join(ReadingSheet, ReadingSheet.id == Reading.sheet_id)
            .where(*_standing(move.job_id), ReadingSheet.taken_at > move.created_at)
            .distinct()
        )
    }


def _looked(sheets: Sequence[datetime], move: JobMove, end: datetime | None) -> datetime | None:
    """When relief was first read after the job was put to rest, and before the next rest."""
    return next(
        (taken_at for taken_at in sheets if taken_at > move.created_at and (end is None or taken_at <= end)),
        None,
    )

"""What a closed job took: minutes, days, parts, verdicts at both ends, and whether it came back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from shimstock_calc.conformity import IN_SPEC, OUT_OF_SPEC, TOO_CLOSE
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet, stands
from shimstock_server.database.tables.jobs import Job, JobMove, JobPart
from shimstock_server.database.words import JobState, Part, Stage

from .minutes import taken_by
from .parts import in_parts
from .rows import Row, side_and_string

COMES_BACK = timedelta(days=90)
"""A job came back when its instrument was checked in again within this time of being ready; judgement."""

CLOSING = (JobState.READY, JobState.RETURNED_UNREPAIRED)

RECEIVED, RETURNED = "received", "returned"
WORDS = {IN_SPEC: "in", TOO_CLOSE: "close", OUT_OF_SPEC: "out"}


def closings(session: Session, job_ids: Iterable[UUID]) -> dict[UUID, datetime]:
    """Return when each job was first ready, or went back unrepaired; without those that are not done."""
    found: dict[UUID, datetime] = {}
    for some in in_parts(job_ids):
        rows = session.execute(
            select(JobMove.job_id, func.min(JobMove.created_at).label("at"))
            .where(JobMove.job_id.in_(some), JobMove.to_state.in_(CLOSING))
            .group_by(JobMove.job_id)
        )
        found |= {row.job_id: row.at for row in rows}
    return found


def came_back(session: Session, closed: Mapping[UUID, datetime]) -> dict[UUID, bool]:
    """Return of each closed job whether its instrument was checked in again soon."""
    instruments: dict[UUID, UUID | None] = {}
    begun: dict[UUID, list[datetime]] = {}
    for some in in_parts(closed):
        rows = session.execute(select(Job.id, Job.instrument_id).where(Job.id.in_(some)))
        instruments |= {row.id: row.instrument_id for row in rows}
    for some in in_parts({each for each in instruments.values() if each is not None}):
        found = session.execute(
            select(Job.instrument_id, Job.created_at).where(
                Job.instrument_id.in_(some), Job.state != JobState.CANCELLED
            )
        )
        for row in found:
            assert row.instrument_id is not None
            begun.setdefault(row.instrument_id, []).append(row.created_at)
    return {
        job_id: any(
            at < again <= at + COMES_BACK for again in begun.get(instruments[job_id] or UUID(int=0), ())
        )
        for job_id, at in closed.items()
    }


def job_facts(
    session: Session,
    closed: Mapping[UUID, datetime],
    back: Mapping[UUID, bool],
    rows: Sequence[Row],
    verdicts: Sequence[str | None],
    *,
    model_id: UUID,
    strings: int,
    zone: ZoneInfo,
) -> list[dict[str, Any]]:
    """Return a row for each closed job.

    Parameters
    ----------
    closed, back : mappings
        From `closings` and `came_back`.
    rows, verdicts : sequences
        All readings of these jobs and what was judged of each. Received is the newest of a place that was
        read as received, returned the one that the instrument went out with.
    """
    judged = _at_both_ends(rows, verdicts, strings)
    parts = _parts(session, closed)
    restrung, changed = _restrings(session, closed)
    received = _received(session, closed)
    facts = []
    for some in in_parts(closed):
        took = taken_by(session, some)
        for job in session.execute(
            select(Job.id, Job.worked_minutes, Job.created_at).where(Job.id.in_(some)).order_by(Job.id)
        ):
            at = closed[job.id]
            since = received.get(job.id, job.created_at)
            counts = judged.get(job.id, Counter())
            facts.append(
                {
                    "job_id": job.id,
                    "model_id": model_id,
                    "day": at.astimezone(zone).date(),
                    "minutes": job.worked_minutes,
                    "turnaround_hours": max(0.0, (at - since).total_seconds() / 3600),
                    "parts_price": parts.get(job.id, 0.0),
                    "restrung": job.id in restrung,
                    "gauge_changed": job.id in changed,
                    "came_back": back.get(job.id, False),
                    "took": took.get(job.id, {}),
                }
                | {
                    f"{end}_{word}": counts[end, word]
                    for end in (RECEIVED, RETURNED)
                    for word in WORDS.values()
                }
            )
    return facts


def _at_both_ends(
    rows: Sequence[Row], verdicts: Sequence[str | None], strings: int
) -> dict[UUID, Counter[tuple[str, str]]]:
    newest: dict[tuple[Any, ...], tuple[UUID, str, str | None]] = {}
    for row, word in zip(rows, verdicts, strict=True):
        place = side_and_string(row, strings)
        for end in _ends(row):
            newest[row.job_id, end, row.quantity, place, row.pickup] = row.job_id, end, word
    found: dict[UUID, Counter[tuple[str, str]]] = {}
    for job_id, end, word in newest.values():
        if word is not None:
            found.setdefault(job_id, Counter())[end, WORDS[word]] += 1
    return found


def _ends(row: Row) -> list[str]:
    return [RECEIVED] * (row.stage is Stage.AS_RECEIVED) + [RETURNED] * row.went_out


def _parts(session: Session, job_ids: Iterable[UUID]) -> dict[UUID, float]:
    found: dict[UUID, float] = {}
    for some in in_parts(job_ids):
        rows = session.execute(
            select(JobPart.job_id, func.sum(JobPart.quantity * func.coalesce(JobPart.price, 0.0)))
            .where(JobPart.job_id.in_(some))
            .group_by(JobPart.job_id)
        )
        found |= {job_id: float(price) for job_id, price in rows}
    return found


def _restrings(session: Session, job_ids: Iterable[UUID]) -> tuple[set[UUID], set[UUID]]:
    """Jobs whose strings were changed, and those that got another set than the one read as received."""
    restrung: set[UUID] = set()
    changed: set[UUID] = set()
    for some in in_parts(job_ids):
        came_with: dict[UUID, UUID | None] = {}
        sheets = session.execute(
            select(ReadingSheet.job_id, ReadingSheet.string_set_id)
            .where(ReadingSheet.job_id.in_(some), ReadingSheet.stage == Stage.AS_RECEIVED)
            .order_by(ReadingSheet.taken_at, ReadingSheet.id)
        )
        for job_id, string_set_id in sheets:
            came_with.setdefault(job_id, string_set_id)
        done = session.execute(
            select(Adjustment.job_id, Adjustment.string_set_id).where(
                Adjustment.job_id.in_(some), Adjustment.part == Part.STRINGS, stands(Adjustment)
            )
        )
        for job_id, string_set_id in done:
            restrung.add(job_id)
            before = came_with.get(job_id)
            if string_set_id is not None and before is not None and string_set_id != before:
                changed.add(job_id)
    return restrung, changed


def _received(session: Session, job_ids: Iterable[UUID]) -> dict[UUID, datetime]:
    found: dict[UUID, datetime] = {}
    for some in in_parts(job_ids):
        rows = session.execute(
            select(JobMove.job_id, func.min(JobMove.created_at).label("at"))
            .where(JobMove.job_id.in_(some), JobMove.to_state == JobState.RECEIVED)
            .group_by(JobMove.job_id)
        )
        found |= {row.job_id: row.at for row in rows}
    return found

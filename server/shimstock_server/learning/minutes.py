"""Minutes of readings and adjustments, learned from the times and minutes that benches record.

A sheet of one quantity took the time since the entry before it, shared among its readings; an adjustment
took the minutes that were said of it, else the time since the entry before it, less the tuning after it.
What closed jobs took is pooled by the median: a forgotten pause, or a sheet typed in later, counts no more.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby, pairwise
from statistics import median
from typing import Any
from uuid import UUID

from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session

from shimstock_calc.plan.model import Prices
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet, stands
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job, JobMove
from shimstock_server.database.tables.learning import JobPrior, LearnedMinutes, ReportJob
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import BridgeKind, Part
from shimstock_server.shop import LEAST_WORK, learned_minutes

NEWEST = 1000
"""Newest closed jobs that are pooled: benches and tools change."""

PAUSE = timedelta(minutes=30)
"""A longer time between two entries was spent on something else; judgement."""

READING, ADJUSTMENT = "reading", "adjustment"
TOGETHER = frozenset({"bridge-post", "saddle"})
"""Parts whose two sides are one adjustment."""

Taken = dict[str, dict[str, list[float]]]
"""By group and name: what each of them took [min]."""


@dataclass(frozen=True)
class _Entry:
    """A sheet or a step, as far as it tells how long it took."""

    at: datetime
    group: str
    name: str | None
    """Quantity or part; None where there are several."""
    count: int
    """Readings, or places that were adjusted."""
    said: float | None = None
    """Minutes that were said of it."""


def taken_by(session: Session, job_ids: Sequence[UUID]) -> dict[UUID, Taken]:
    """Work out what readings and adjustments of some jobs took; writes nothing."""
    entries = _sheets(session, job_ids)
    for job_id, steps in _steps(session, job_ids).items():
        entries.setdefault(job_id, []).extend(steps)
    moves: dict[UUID, list[datetime]] = {}
    for job_id, at in session.execute(
        select(JobMove.job_id, JobMove.created_at).where(JobMove.job_id.in_(job_ids))
    ):
        moves.setdefault(job_id, []).append(at)
    tuning = _tuning(session, job_ids)
    return {
        job_id: _taken(sorted(found, key=lambda each: each.at), moves.get(job_id, []), tuning[job_id])
        for job_id, found in entries.items()
    }


def _sheets(session: Session, job_ids: Sequence[UUID]) -> dict[UUID, list[_Entry]]:
    sheets = session.scalars(
        select(ReadingSheet)
        .where(ReadingSheet.job_id.in_(job_ids), stands(ReadingSheet))
        .order_by(ReadingSheet.id)
    )
    found: dict[UUID, list[_Entry]] = {}
    for sheet in sheets:
        quantities = {each.quantity.value for each in sheet.readings}
        name = quantities.pop() if len(quantities) == 1 else None
        entry = _Entry(sheet.counts_at, READING, name, len(sheet.readings))
        found.setdefault(sheet.job_id, []).append(entry)
    return found


def _steps(session: Session, job_ids: Sequence[UUID]) -> dict[UUID, list[_Entry]]:
    """Adjustments of a job, those of one part at one instant as one step."""
    rows = session.scalars(
        select(Adjustment)
        .where(Adjustment.job_id.in_(job_ids), stands(Adjustment))
        .order_by(Adjustment.job_id, Adjustment.done_at, Adjustment.part, Adjustment.id)
    )
    found: dict[UUID, list[_Entry]] = {}
    for (job_id, _, part), group in groupby(rows, key=lambda each: (each.job_id, each.done_at, each.part)):
        acts = list(group)
        said = [each.minutes for each in acts if each.minutes is not None]
        count = 1 if part.value in TOGETHER else len({(a.side, a.string, a.pickup) for a in acts})
        entry = _Entry(acts[0].counts_at, ADJUSTMENT, part.value, count, sum(said) if said else None)
        found.setdefault(job_id, []).append(entry)
    return found


def _tuning(session: Session, job_ids: Sequence[UUID]) -> dict[UUID, float]:
    """Minutes of tuning after an adjustment, by the bridge of each job's instrument."""
    usual = Prices()
    rows = session.execute(
        select(Job.id, InstrumentModel.bridge)
        .outerjoin(Instrument, Instrument.id == Job.instrument_id)
        .outerjoin(InstrumentModel, InstrumentModel.id == Instrument.model_id)
        .where(Job.id.in_(job_ids))
    )
    kinds = {job_id: (bridge or {}).get("kind") for job_id, bridge in rows}
    return {
        job_id: usual.retune_floating if kind and BridgeKind(kind).term.floats else usual.retune
        for job_id, kind in kinds.items()
    }


def _taken(entries: Sequence[_Entry], moves: Sequence[datetime], tuning: float) -> Taken:
    usual = Prices()
    known: dict[str, Mapping[Any, float]] = {READING: usual.reading, ADJUSTMENT: usual.adjustment}
    found: Taken = {}

    def add(entry: _Entry, minutes: float) -> None:
        if entry.name is None or entry.name not in known[entry.group]:
            return
        if entry.group == ADJUSTMENT and Part(entry.name).term.detunes:
            minutes -= tuning
        each = max(round(minutes / entry.count, 3), LEAST_WORK)
        found.setdefault(entry.group, {}).setdefault(entry.name, []).append(each)

    for entry in entries:
        if entry.said:
            add(entry, entry.said)
    for before, entry in pairwise(entries):
        passed = entry.at - before.at
        moved = any(before.at < at < entry.at for at in moves)
        if entry.said is None and not moved and passed <= PAUSE and entry.count:
            minutes = passed.total_seconds() / 60
            if minutes / entry.count >= LEAST_WORK:
                add(entry, minutes)
    return found


def pooled_minutes(session: Session) -> list[dict[str, Any]]:
    """Pool what the newest closed jobs took: the median and count of each kind, as rows to keep."""
    rows = session.scalars(
        select(ReportJob.took)
        .where(ReportJob.took.is_not(None))
        .order_by(ReportJob.day.desc(), ReportJob.job_id.desc())
        .limit(NEWEST)
    )
    every: dict[tuple[str, str], list[float]] = {}
    for taken in rows:
        for group, names in (taken or {}).items():
            for name, minutes in names.items():
                every.setdefault((group, name), []).extend(minutes)
    return [
        {"group": group, "name": name, "minutes": round(median(minutes), 2), "count": len(minutes)}
        for (group, name), minutes in sorted(every.items())
    ]


def keep_minutes(session: Session, rows: Iterable[Mapping[str, Any]]) -> None:
    """Put what was learned into the place of what was known before."""
    session.execute(delete(LearnedMinutes))
    if wanted := [dict(row) for row in rows]:
        session.execute(insert(LearnedMinutes), wanted)


def minutes_for(session: Session, job: Job) -> Mapping[str, Mapping[str, float]]:
    """Return the learned minutes of a plan: a job that has readings stays with those of its first one."""
    prior = session.get(JobPrior, job.id)
    if prior is None or prior.instrument_id != job.instrument_id:
        return learned_minutes(session)
    kept: dict[str, dict[str, float]] = prior.learned.get("minutes", {})
    return kept

"""Steps that were done and things that were found, by month: in how many jobs, how often, how far."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.summary import Moments
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet, stands
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import Stage

from .counting import month_of
from .parts import in_parts

STEP, FINDING = "step", "finding"


class TallyKey(NamedTuple):
    """What a tally counts."""

    month: int
    what: str
    name: str
    unit: str
    """`turn` or `mm` where the way was noted, else empty."""


@dataclass(frozen=True)
class Tally:
    """In how many jobs of a month, how often, and how far each time."""

    jobs: int = 0
    way: Moments = field(default_factory=Moments)
    """Size of the turn or the move; of findings, and of steps without a way, the count alone."""

    def merged(self, other: Tally) -> Tally:
        """Return both together; a job that reaches from one month into the next counts in both."""
        return Tally(self.jobs + other.jobs, self.way.merged(other.way))


Tallies = dict[TallyKey, Tally]


def count_tallies(
    session: Session, model_id: UUID, first: datetime | None, last: datetime | None, zone: ZoneInfo
) -> Tallies:
    """Count the adjustments made and the findings noted as received, from an instant to another or all."""
    ways: dict[TallyKey, list[float]] = {}
    jobs: dict[TallyKey, set[UUID]] = {}

    def add(key: TallyKey, job_id: UUID, way: float) -> None:
        ways.setdefault(key, []).append(way)
        jobs.setdefault(key, set()).add(job_id)

    done = session.execute(
        select(Adjustment.job_id, Adjustment.done_at, Adjustment.part, Adjustment.turns, Adjustment.amount)
        .select_from(Instrument)
        .join(Job, Job.instrument_id == Instrument.id)
        .join(Adjustment, Adjustment.job_id == Job.id)
        .where(
            Instrument.model_id == model_id, *_between(Adjustment.done_at, first, last), stands(Adjustment)
        )
    )
    for each in done:
        month = month_of(each.done_at.astimezone(zone).date())
        way, unit = _way(each.turns, each.amount)
        add(TallyKey(month, STEP, each.part.value, unit), each.job_id, way)
    seen = session.execute(
        select(ReadingSheet.job_id, ReadingSheet.taken_at, ReadingSheet.findings)
        .select_from(Instrument)
        .join(Job, Job.instrument_id == Instrument.id)
        .join(ReadingSheet, ReadingSheet.job_id == Job.id)
        .where(
            Instrument.model_id == model_id,
            ReadingSheet.stage == Stage.AS_RECEIVED,
            *_between(ReadingSheet.taken_at, first, last),
            stands(ReadingSheet),
        )
    )
    for sheet in seen:
        for finding in sheet.findings:
            month = month_of(sheet.taken_at.astimezone(zone).date())
            add(TallyKey(month, FINDING, finding["code"], ""), sheet.job_id, 0.0)
    return {key: Tally(len(jobs[key]), Moments.of(sorted(each))) for key, each in ways.items()}


def jobs_with(session: Session, job_ids: Iterable[UUID]) -> dict[tuple[str, str, str], int]:
    """Count in how many of some jobs each step was done and each thing was found as received.

    Returns
    -------
    mapping
        By `STEP` or `FINDING`, name, and unit of the way as in `TallyKey`.
    """
    jobs: dict[tuple[str, str, str], set[UUID]] = {}
    for some in in_parts(job_ids):
        done = session.execute(
            select(Adjustment.job_id, Adjustment.part, Adjustment.turns, Adjustment.amount).where(
                Adjustment.job_id.in_(some), stands(Adjustment)
            )
        )
        for each in done:
            unit = _way(each.turns, each.amount)[1]
            jobs.setdefault((STEP, each.part.value, unit), set()).add(each.job_id)
        seen = session.execute(
            select(ReadingSheet.job_id, ReadingSheet.findings).where(
                ReadingSheet.job_id.in_(some), ReadingSheet.stage == Stage.AS_RECEIVED, stands(ReadingSheet)
            )
        )
        for sheet in seen:
            for finding in sheet.findings:
                jobs.setdefault((FINDING, finding["code"], ""), set()).add(sheet.job_id)
    return {key: len(found) for key, found in jobs.items()}


def _between(column: Any, first: datetime | None, last: datetime | None) -> list[Any]:
    return [] if first is None or last is None else [column >= first, column < last]


def _way(turns: float | None, amount: float | None) -> tuple[float, str]:
    if turns is not None:
        return abs(turns), "turn"
    return (abs(amount), "mm") if amount is not None else (0.0, "")


def merge_tallies(many: Iterable[Tallies]) -> Tallies:
    """Merge tallies of months that have nothing in common."""
    found: Tallies = {}
    for tallies in many:
        for key, tally in tallies.items():
            found[key] = found[key].merged(tally) if key in found else tally
    return found

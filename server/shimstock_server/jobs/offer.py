"""In which order the queue offers its jobs, and the query that picks the first.

1. A settling job that is due and that this technician worked on last, the first due first.
2. Any other settling job that is due, the first due first.
3. A queued job that is promised for today or was promised earlier: the earliest day first, then by priority
   (9 first), then by its time in the queue.
4. Any other queued job: by priority (9 first), then by the promised day, then by its time in the queue.

Why so: a settled neck takes minutes, holds up an instrument that is nearly done, and its next look counts
from this one; a promise to an owner that falls due today outweighs a priority that the shop gave itself; a
job given back keeps its time in the queue. Each rank has an index that holds its jobs in just this order.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Select, exists, func, literal_column, select
from sqlalchemy.orm import aliased

from shimstock_server.database.tables.jobs import Job, JobSkill
from shimstock_server.database.words import Skill


def first_offered(
    technician_id: UUID, lacking: Iterable[Skill], *, today: date, now: datetime
) -> ColumnElement[UUID | None]:
    """The id of the job that is offered first; its row is locked where the database can.

    Parameters
    ----------
    technician_id : UUID
        Who asks.
    lacking : iterable of Skill
        What the technician or the bench cannot do.
    today : date
        The day in the shop's zone.
    now : datetime
        The instant up to which settling jobs are due.

    Notes
    -----
    States stand in the statement as the indexes have them, not as parameters: only so do both databases see
    that a partial index covers them. COALESCE asks each rank only when the ones before it had nothing.
    """
    missing = sorted(set(lacking))
    return func.coalesce(*(rank.scalar_subquery() for rank in _ranks(technician_id, missing, today, now)))


def _ranks(
    technician_id: UUID, missing: list[Skill], today: date, now: datetime
) -> Iterable[Select[tuple[UUID]]]:
    own = aliased(Job)
    settled = (_is(own, "settling"), own.available_at <= now)
    first_due = (own.available_at, own.id)
    yield _pick(own, missing, (*settled, own.last_technician_id == technician_id), first_due)
    other = aliased(Job)
    yield _pick(
        other, missing, (_is(other, "settling"), other.available_at <= now), (other.available_at, other.id)
    )
    urgent = aliased(Job)
    by_promise = (urgent.promised_on, urgent.priority.desc(), urgent.queued_at, urgent.id)
    yield _pick(urgent, missing, (_is(urgent, "queued"), urgent.promised_on <= today), by_promise)
    rest = aliased(Job)
    by_priority = (rest.priority.desc(), rest.promised_on, rest.queued_at, rest.id)
    yield _pick(rest, missing, (_is(rest, "queued"),), by_priority)


def _is(job: Any, state: str) -> ColumnElement[bool]:
    """Say it in the words of the partial indexes (`QUEUED` and `SETTLING` of the tables)."""
    return (job.state == literal_column(f"'{state}'")).is_(literal_column("TRUE"))


def _pick(job: Any, missing: list[Skill], which: Iterable[Any], order: Iterable[Any]) -> Select[tuple[UUID]]:
    query = select(job.id).where(*which).order_by(*order).limit(1)
    if missing:
        needs = select(JobSkill.skill).where(JobSkill.job_id == job.id, JobSkill.skill.in_(missing))
        query = query.where(~exists(needs))
    return query.with_for_update(skip_locked=True, of=job)


def place_in_queue(job: Job, today: date) -> tuple[Any, ...]:
    """Return what sorts queued jobs as they are offered, whatever skills they need."""
    urgent = job.promised_on <= today
    return (
        not urgent,
        job.promised_on if urgent else today,
        -job.priority,
        job.promised_on,
        job.queued_at,
        job.id,
    )

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
from functools import cache
from typing import Any
from uuid import UUID

from sqlalchemy import (
    ColumnElement,
    Select,
    Update,
    bindparam,
    exists,
    func,
    literal_column,
    select,
    update,
)
from sqlalchemy.orm import Session, aliased

from shimstock_server.database.tables.jobs import Job, JobSkill
from shimstock_server.database.words import JobState, Skill


def take_first_offered(
    session: Session,
    *,
    technician_id: UUID,
    lacking: Iterable[Skill],
    claim_id: UUID,
    move_id: UUID,
    today: date,
    now: datetime,
) -> Job | None:
    """Put the job that is offered first onto a bench, in one statement, and return it; None without one.

    Two that ask at once get two jobs: what one is about to take is locked, and the other passes over it.

    Parameters
    ----------
    technician_id : UUID
        Who asks.
    lacking : iterable of Skill
        What the technician or the bench cannot do.
    claim_id, move_id : UUID
        The claim and the move that the caller writes next.
    today : date
        The day in the shop's zone.
    now : datetime
        The instant up to which settling jobs are due.
    """
    missing = sorted(set(lacking))
    values = {
        "technician": technician_id,
        "claim": claim_id,
        "move": move_id,
        "today": today,
        "now": now,
        **({"missing": missing} if missing else {}),
    }
    return session.scalars(
        _statement(some_lack=bool(missing)), values, execution_options={"synchronize_session": False}
    ).one_or_none()


@cache
def _statement(*, some_lack: bool) -> Update:
    """The claim's statement, made once.

    States stand in it as the indexes have them, not as parameters: only so do both databases see that a
    partial index covers them. COALESCE asks each rank only when the ones before it had nothing.
    """
    offered = func.coalesce(*(rank.scalar_subquery() for rank in _ranks(some_lack)))
    return (
        update(Job)
        .where(Job.id == offered)
        .values(
            state=JobState.ON_BENCH,
            claim_id=bindparam("claim"),
            move_id=bindparam("move"),
            available_at=None,
            version=Job.version + 1,
            updated_at=bindparam("now"),
        )
        .returning(Job)
    )


def _ranks(some_lack: bool) -> Iterable[Select[Any]]:
    own = aliased(Job)
    is_due = own.available_at <= bindparam("now")
    is_own = own.last_technician_id == bindparam("technician")
    yield _pick(own, some_lack, (_is(own, "settling"), is_due, is_own), (own.available_at, own.id))
    other = aliased(Job)
    is_due = other.available_at <= bindparam("now")
    yield _pick(other, some_lack, (_is(other, "settling"), is_due), (other.available_at, other.id))
    urgent = aliased(Job)
    by_promise = (urgent.promised_on, urgent.priority.desc(), urgent.queued_at, urgent.id)
    is_promised = urgent.promised_on <= bindparam("today")
    yield _pick(urgent, some_lack, (_is(urgent, "queued"), is_promised), by_promise)
    rest = aliased(Job)
    by_priority = (rest.priority.desc(), rest.promised_on, rest.queued_at, rest.id)
    yield _pick(rest, some_lack, (_is(rest, "queued"),), by_priority)


def _is(job: Any, state: str) -> ColumnElement[bool]:
    """Say it in the words of the partial indexes (`QUEUED` and `SETTLING` of the tables)."""
    is_so: ColumnElement[bool] = (job.state == literal_column(f"'{state}'")).is_(literal_column("TRUE"))
    return is_so


def _pick(job: Any, some_lack: bool, which: Iterable[Any], order: Iterable[Any]) -> Select[Any]:
    query = select(job.id).where(*which).order_by(*order).limit(1)
    if some_lack:
        missing = JobSkill.skill.in_(bindparam("missing", expanding=True))
        query = query.where(~exists(select(JobSkill.skill).where(JobSkill.job_id == job.id, missing)))
    # Not FOR UPDATE: a job that somebody just writes a reading sheet for is not passed over.
    return query.with_for_update(skip_locked=True, of=job, key_share=True)

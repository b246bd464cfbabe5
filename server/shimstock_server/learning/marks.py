"""What has to be counted and learned anew: noted with the change, taken by the worker."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from sqlalchemy import bindparam, delete, insert, or_, select
from sqlalchemy.orm import Session

from shimstock_server.database.history import follow
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.catalogue import SetupSpec
from shimstock_server.database.tables.jobs import Job, JobMove
from shimstock_server.database.tables.learning import LearningMark

from .facts import CLOSING, COMES_BACK

AT_ONCE = 500
"""Marks worked off in one transaction."""


# The job itself, and those that it may be a return of: closed within the time in which a job comes back.
_WITH_EARLIER = select(Job.id).where(
    Job.instrument_id == bindparam("instrument"),
    or_(
        Job.id == bindparam("job"),
        select(JobMove.id)
        .where(
            JobMove.job_id == Job.id,
            JobMove.to_state.in_(CLOSING),
            JobMove.created_at.between(bindparam("since"), bindparam("begun")),
        )
        .exists(),
    ),
)
_NOTE = insert(LearningMark)


@follow("job.readings", "job.adjusted", "job.adjustment-withdrawn")
def mark(session: Session, job: Job) -> None:
    """Note that a job changed, by a row of its own: nothing that two benches write at once."""
    if job.instrument_id is not None:
        _note(session, [job.id])


@follow("job.moved")
def mark_with_earlier(session: Session, job: Job) -> None:
    """Note a job, and those of its instrument before it that may have come back with it: few, however many
    there are."""
    if job.instrument_id is not None:
        begun = job.created_at
        wanted = {"instrument": job.instrument_id, "job": job.id, "begun": begun, "since": begun - COMES_BACK}
        _note(session, session.scalars(_WITH_EARLIER, wanted))


@follow("setup-spec.changed")
def mark_own_spec(session: Session, spec: SetupSpec) -> None:
    """Note a job whose own targets changed; those of a model or the shop hold for jobs to come."""
    if spec.job_id is not None:
        _note(session, [spec.job_id])


def mark_job(session: Session, job_id: UUID) -> None:
    """Note one job."""
    _note(session, [job_id])


def _note(session: Session, job_ids: Iterable[UUID]) -> None:
    now = session.info["now"]
    rows = [{"id": new_id(), "job_id": job_id, "created_at": now} for job_id in job_ids]
    if rows:
        session.execute(_NOTE, rows)


def standing_marks(
    session: Session, limit: int = AT_ONCE, *, without: UUID | None = None
) -> dict[UUID, UUID]:
    """Return marks, the oldest first, each with its job; perhaps without one."""
    wanted = select(LearningMark.id, LearningMark.job_id).order_by(LearningMark.id).limit(limit)
    rows = session.execute(wanted if without is None else wanted.where(LearningMark.id != without))
    return {row.id: row.job_id for row in rows}


def clear_marks(session: Session, marks: Iterable[UUID]) -> None:
    """Take back the marks that were worked off; one that was set meanwhile is another row and stays."""
    session.execute(delete(LearningMark).where(LearningMark.id.in_(list(marks))))

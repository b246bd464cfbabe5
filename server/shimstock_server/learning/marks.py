"""What has to be counted and learned anew: noted with the change, taken by the worker."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from sqlalchemy import bindparam, delete, insert, select
from sqlalchemy.orm import Session

from shimstock_server.database.history import follow
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.catalogue import SetupSpec
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.learning import LearningMark

AT_ONCE = 500
"""Marks worked off in one transaction."""


_OF_INSTRUMENT = select(Job.id).where(Job.instrument_id == bindparam("instrument"))
_NOTE = insert(LearningMark)


@follow("job.readings", "job.adjusted")
def mark(session: Session, job: Job) -> None:
    """Note that a job changed, by a row of its own: nothing that two benches write at once."""
    if job.instrument_id is not None:
        _note(session, [job.id])


@follow("job.moved")
def mark_with_earlier(session: Session, job: Job) -> None:
    """Note a job and the instrument's others: one of them may have come back."""
    if job.instrument_id is not None:
        _note(session, session.scalars(_OF_INSTRUMENT, {"instrument": job.instrument_id}))


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


def standing_marks(session: Session, limit: int = AT_ONCE) -> dict[UUID, UUID]:
    """Return marks, the oldest first, each with its job."""
    rows = session.execute(
        select(LearningMark.id, LearningMark.job_id).order_by(LearningMark.id).limit(limit)
    )
    return {row.id: row.job_id for row in rows}


def clear_marks(session: Session, marks: Iterable[UUID]) -> None:
    """Take back the marks that were worked off; one that was set meanwhile is another row and stays."""
    session.execute(delete(LearningMark).where(LearningMark.id.in_(list(marks))))

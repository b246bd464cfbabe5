"""What makes counts stale besides readings, adjustments and moves: parts, specs, a model, the zone."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Select, insert, select
from sqlalchemy.orm import Session

from shimstock_server.database.history import follow
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.learning import LearningMark
from shimstock_server.database.tables.owners import Instrument

_JOBS = select(Job.id).join(Instrument, Instrument.id == Job.instrument_id)


@follow("job.part-used", "job.spec-renewed")
def mark_changed(session: Session, job: Job) -> None:
    """Note a job whose parts, or whose targets, are others now."""
    _mark(session, _JOBS.where(Job.id == job.id))


@follow("instrument-model.changed")
def mark_model(session: Session, model: InstrumentModel) -> None:
    """Note the jobs on a model: places, and what relief is held against, hang on its strings and neck."""
    _mark(session, _JOBS.where(Instrument.model_id == model.id))


@follow("shop.zone-changed")
def mark_everything(session: Session, _shop: Any) -> None:
    """Note all jobs: days and months begin at other instants now."""
    _mark(session, _JOBS)


def _mark(session: Session, jobs: Select[Any]) -> None:
    now = session.info["now"]
    rows = [{"id": new_id(), "job_id": job_id, "created_at": now} for job_id in session.scalars(jobs)]
    if rows:
        session.execute(insert(LearningMark), rows)

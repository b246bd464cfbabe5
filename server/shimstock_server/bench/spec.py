"""The targets that a job works towards."""

from __future__ import annotations

from sqlalchemy.orm import Session

from shimstock_calc.plan import model as plan_model
from shimstock_server.catalogue import resolve_spec, spec_items
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument


def spec_of_job(session: Session, job: Job, instrument: Instrument) -> tuple[plan_model.SpecItem, ...]:
    """The targets that apply to a job: the versions that it keeps, and what the player asked for."""
    return spec_items(
        resolve_spec(
            session,
            kind=instrument.model.kind,
            model_id=instrument.model_id,
            instrument_id=instrument.id,
            job_id=job.id,
            frozen_ids=job.spec_ids or None,
        )
    )

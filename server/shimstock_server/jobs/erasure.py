"""What a job keeps in its owner's words, and how it is taken out."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.jobs import Consent, Job
from shimstock_server.owners import jobs_of, on_erasure
from shimstock_server.web import idempotency

ERASED = "erased"
"""Stands where somebody's name stood."""


@on_erasure
def forget_owner(session: Session, owner_id: UUID) -> None:
    """Take an owner's words and name out of the jobs; what was measured, done and agreed stays."""
    told: dict[UUID, dict[str, Any]] = {}
    for job in session.scalars(select(Job).where(Job.id.in_(jobs_of(owner_id)))):
        told[job.id] = {"complaints": None, "wants": {"playing_style": None, "note": None}}
        job.complaints = None
        job.wants = {**job.wants, "playing_style": None, "note": None}
        for consent in session.scalars(select(Consent).where(Consent.job_id == job.id)):
            consent.given_by = ERASED
            consent.note = consent.withdrawn_reason = None
            told[consent.id] = {"given_by": ERASED, "note": None, "withdrawn_reason": None}
    idempotency.take_out(session, told)

"""The owner's yes or no to what cannot be undone."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.jobs import Consent, Job
from shimstock_server.database.words import ConsentKind, WaitingFor
from shimstock_server.web.context import Actor

from . import moves
from .problems import ConsentWithdrawn


def add_consent(session: Session, job: Job, wish: dict[str, Any], *, actor: Actor, now: datetime) -> Consent:
    """Keep what the owner said; the newest word on a kind of step is the one that counts.

    A yes puts a job that waits for consent back into the queue. After a no a person decides: go on without
    that step, or return the instrument.
    """
    consent = Consent(
        job_id=job.id,
        covers=wish["covers"],
        given=wish["given"],
        given_by=wish["given_by"],
        how=wish["how"],
        note=wish.get("note"),
        given_at=wish.get("given_at") or now,
        created_at=now,
    )
    session.add(consent)
    session.flush()
    emit(session, "job.consent", job, covers=consent.covers.value, given=consent.given)
    if consent.given:
        moves.end_wait(session, job, WaitingFor.CONSENT, reason="consent was given", actor=actor, now=now)
    return consent


def withdraw(session: Session, job: Job, consent: Consent, *, reason: str | None, now: datetime) -> Consent:
    """Take a consent back; what was done under it stays done."""
    if consent.withdrawn_at is not None:
        raise ConsentWithdrawn
    consent.withdrawn_at = now
    consent.withdrawn_reason = reason
    emit(session, "job.consent-withdrawn", job, covers=consent.covers.value)
    return consent


def consents_of(session: Session, job_id: UUID) -> list[Consent]:
    """Everything the owner said on this job, the oldest first."""
    return list(
        session.scalars(
            select(Consent).where(Consent.job_id == job_id).order_by(Consent.given_at, Consent.id)
        )
    )


def standing_consents(session: Session, job_id: UUID) -> dict[ConsentKind, Consent]:
    """The newest word on each kind of step that was not withdrawn, yes or no."""
    return {
        consent.covers: consent for consent in consents_of(session, job_id) if consent.withdrawn_at is None
    }


def covering_consent(
    session: Session, job_id: UUID, step: ConsentKind, *, named_only: bool
) -> Consent | None:
    """The consent that covers a step: one that names it, or a general one where that is enough.

    A no that names the step counts more than a general yes.
    """
    standing = standing_consents(session, job_id)
    named = standing.get(step)
    if named is not None:
        return named if named.given else None
    general = standing.get(ConsentKind.GENERAL)
    if named_only or general is None or not general.given:
        return None
    return general

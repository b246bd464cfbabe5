"""Addresses of owners' pages: 160 random bits, of which only a hash is kept; they end, and can be revoked."""

from __future__ import annotations

import hashlib
import re
import secrets
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.booking import Booking
from shimstock_server.database.tables.cards import CardLink
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Owner
from shimstock_server.keys import site_of
from shimstock_server.owners import jobs_of, on_erasure
from shimstock_server.web.context import Actor
from shimstock_server.web.fields import Id, Instant, ListOf, Nested, StrictSchema, Text, Truth, Whole

USUAL_DAYS = 365
_TOKEN = re.compile(r"[A-Za-z0-9_-]{27}")


class CardLinkIn(StrictSchema):
    """How long an owner's page can be seen."""

    days = Whole(1, 1095, load_default=USUAL_DAYS, metadata={"description": "From now on [day]."})


class CardLinkOut(StrictSchema):
    """An address of an owner's page, without its secret part."""

    id = Id()
    version = Whole()
    created_at = Instant()
    job_id = Id()
    expires_at = Instant()
    revoked_at = Instant(allow_none=True)
    active = Truth(metadata={"description": "Whether it opens the page at the moment."})


class NewCardLinkOut(CardLinkOut):
    """An address of an owner's page that has just been made."""

    path = Text(
        allow_none=True,
        metadata={
            "secret": True,
            "description": "/cards/ and the secret part, shown once; null in the kept answer of a repeated "
            "request.",
        },
    )


class CardLinkList(StrictSchema):
    """Every address of a job's page that was made, the oldest first."""

    items = ListOf(Nested(CardLinkOut))


def _hash(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()


def make_link(
    session: Session, job: Job, *, actor: Actor, now: datetime, days: int = USUAL_DAYS
) -> tuple[CardLink, str]:
    """Make an address of a job's page; return its row and its path, which is known here and never again."""
    token = secrets.token_urlsafe(20)
    row = CardLink(
        job_id=job.id, token_hash=_hash(token), key_id=actor.key_id, expires_at=now + timedelta(days=days)
    )
    session.add(row)
    session.flush()
    return row, f"/cards/{token}"


def find(session: Session, token: str, *, now: datetime) -> CardLink | None:
    """Return the address that a secret opens at the moment."""
    if not _TOKEN.fullmatch(token):
        return None
    row = session.scalars(select(CardLink).where(CardLink.token_hash == _hash(token))).one_or_none()
    return row if row is not None and is_active(row, now) else None


def is_active(row: CardLink, now: datetime) -> bool:
    """Whether an address opens its page."""
    return row.revoked_at is None and row.expires_at > now


def job_of(session: Session, token: str, *, now: datetime) -> Job | None:
    """Return the job whose page a secret opens."""
    row = find(session, token, now=now)
    return None if row is None else session.get_one(Job, row.job_id)


def revoke(session: Session, row: CardLink, *, now: datetime) -> None:
    """End an address for good."""
    if row.revoked_at is None:
        row.revoked_at = now
        session.flush()
        emit(session, "card-link.revoked", row, job=row.job_id)


@on_erasure
def forget_owner(session: Session, owner_id: UUID) -> None:
    """Close the pages of an owner who is erased."""
    now = session.get_one(Owner, owner_id).erased_at or session.info["now"]
    for row in session.scalars(select(CardLink).where(CardLink.job_id.in_(jobs_of(owner_id)))):
        revoke(session, row, now=now)


def links_of(session: Session, job_id: UUID) -> list[CardLink]:
    """Every address of a job's page, the oldest first."""
    query = select(CardLink).where(CardLink.job_id == job_id).order_by(CardLink.created_at, CardLink.id)
    return list(session.scalars(query))


def is_visible(session: Session, actor: Actor, link_id: UUID) -> bool:
    """Whether a key may see an address: the shop's keys all, a website's those of its own bookings."""
    job_id = session.scalar(select(CardLink.job_id).where(CardLink.id == link_id))
    if job_id is None:
        return False
    if actor.scope != "booking":
        return True
    site = session.execute(select(Booking.site_id).where(Booking.job_id == job_id)).one_or_none()
    return site is not None and site[0] == site_of(session, actor)


def told(row: CardLink, *, now: datetime, path: str | None = None) -> dict[str, Any]:
    """Return an address as it is answered."""
    return {
        "id": row.id,
        "version": row.version,
        "created_at": row.created_at,
        "job_id": row.job_id,
        "expires_at": row.expires_at,
        "revoked_at": row.revoked_at,
        "active": is_active(row, now),
        "path": path,
    }

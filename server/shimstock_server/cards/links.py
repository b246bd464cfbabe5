"""Addresses of owners' pages: 160 secret bits, of which only a hash is kept; they end, and can be revoked.

What an answer that was lost has shown can be shown again: the service makes the same address from its secret
and the row's id. Addresses made at random by an earlier release, or under another secret, open their pages by
their hash and cannot be shown again.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.booking import Booking
from shimstock_server.database.tables.cards import CardLink
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Owner
from shimstock_server.keys import site_of
from shimstock_server.owners import jobs_of, on_erasure
from shimstock_server.web.context import Actor, current
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
            "description": "/cards/ and the secret part. A repetition under the same Idempotency-Key shows "
            "it again, while it opens the page; null once the service's secret was changed.",
        },
    )


class CardLinkList(StrictSchema):
    """Every address of a job's page that was made, the oldest first."""

    items = ListOf(Nested(CardLinkOut))


def _hash(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()


def _token(secret: str, link_id: UUID) -> str:
    """Return the secret part of an address: the first 160 bits of an HMAC with SHA-256 (RFC 2104)."""
    bits = hmac.new(secret.encode(), b"card link 1 " + link_id.bytes, hashlib.sha256).digest()[:20]
    return base64.urlsafe_b64encode(bits).rstrip(b"=").decode()


def _path_again(session: Session, row: CardLink, now: datetime) -> str | None:
    """Return the path of an address that opens its page, or None when it was made without this secret."""
    token = _token(session.info["secret"], row.id)
    made_with_it = hmac.compare_digest(row.token_hash, _hash(token))
    return f"/cards/{token}" if made_with_it and is_active(row, now) else None


def make_link(
    session: Session,
    job: Job,
    *,
    actor: Actor,
    now: datetime,
    days: int = USUAL_DAYS,
    derived_from: CardLink | None = None,
) -> tuple[CardLink, str]:
    """Make an address of a job's page; return its row and its path.

    Parameters
    ----------
    derived_from : CardLink, optional
        The address with which the job was booked: the new one ends and is revoked with it.
    """
    link_id = new_id()
    token = _token(session.info["secret"], link_id)
    expires_at = now + timedelta(days=days)
    row = CardLink(
        id=link_id,
        job_id=job.id,
        token_hash=_hash(token),
        key_id=actor.key_id,
        derived_from_id=None if derived_from is None else derived_from.id,
        expires_at=expires_at if derived_from is None else min(expires_at, derived_from.expires_at),
    )
    session.add(row)
    session.flush()
    return row, f"/cards/{token}"


def show_again(kept: dict[str, Any]) -> dict[str, Any]:
    """Return the kept answer that made an address with its path, where it can be shown again."""
    row = current.session.get(CardLink, UUID(kept["id"]))
    path = None if row is None else _path_again(current.session, row, current.now)
    return {**kept, "path": path}


def first_path_again(session: Session, job_id: UUID, *, now: datetime) -> str | None:
    """Return the path of the address that came with the booking of a job, where it can be shown again."""
    rows = links_of(session, job_id)
    return _path_again(session, rows[0], now) if rows else None


def find(session: Session, token: str, *, now: datetime) -> CardLink | None:
    """Return the address that a secret opens at the moment."""
    if not _TOKEN.fullmatch(token):
        return None
    row = session.scalars(select(CardLink).where(CardLink.token_hash == _hash(token))).one_or_none()
    return row if row is not None and is_active(row, now) else None


def is_active(row: CardLink, now: datetime) -> bool:
    """Whether an address opens its page."""
    return row.revoked_at is None and row.expires_at > now


def find_for_recheck(session: Session, token: str, *, actor: Actor, now: datetime) -> CardLink | None:
    """Return the address that a secret opens, when this key may book a recheck with it.

    A website's key may use the addresses of its own bookings, and of jobs that no website booked. The row is
    locked, where the database can: a revocation waits for the new address, and then finds it.
    """
    row = find(session, token, now=now)
    if row is None or not _may_use(session, actor, row.job_id, also_unbooked=True):
        return None
    session.refresh(row, with_for_update=True)
    return row if is_active(row, now) else None


def derived_from(session: Session, job: Job, *, actor: Actor) -> CardLink | None:
    """Return the address from which a website's further addresses of a job derive, or None.

    It is the one with which the job was booked as a recheck. Addresses that the shop makes derive from none.
    """
    if actor.scope != "booking":
        return None
    query = select(CardLink.derived_from_id).where(
        CardLink.job_id == job.id, CardLink.derived_from_id.is_not(None)
    )
    found = session.scalars(query.limit(1)).one_or_none()
    return None if found is None else session.get_one(CardLink, found, with_for_update=True)


def revoke(session: Session, row: CardLink, *, now: datetime) -> None:
    """End an address for good, and every one that was made with it."""
    if row.revoked_at is None:
        row.revoked_at = now
        session.flush()
        emit(session, "card-link.revoked", row, job=row.job_id)
    for each in session.scalars(select(CardLink).where(CardLink.derived_from_id == row.id)).all():
        revoke(session, each, now=now)


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
    return job_id is not None and _may_use(session, actor, job_id)


def _may_use(session: Session, actor: Actor, job_id: UUID, *, also_unbooked: bool = False) -> bool:
    """Whether a job is one of a key: any for the shop's keys, for a website's those that it booked."""
    if actor.scope != "booking":
        return True
    site = session.execute(select(Booking.site_id).where(Booking.job_id == job_id)).one_or_none()
    return also_unbooked if site is None else site[0] == site_of(session, actor)


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

"""What every area stands on: idempotency keys, the audit trail, domain events."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import BigInteger, ForeignKey, Index, String, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from .base import Base, Json, check, new_id

NEW = "position IS NULL"


class IdempotencyKey(Base):
    """One answered request, kept so that its repetition gets the same answer."""

    __tablename__ = "idempotency_keys"
    __table_args__ = (
        UniqueConstraint("api_key_id", "method", "path", "key"),
        Index("ix_idempotency_keys_created_at", "created_at"),
        {"info": {"audited": False}},
    )

    id: Mapped[UUID] = mapped_column(primary_key=True, default=new_id)
    api_key_id: Mapped[UUID] = mapped_column(ForeignKey("api_keys.id"))
    method: Mapped[str] = mapped_column(String(10))
    path: Mapped[str] = mapped_column(String(500))
    key: Mapped[str] = mapped_column(String(200))
    fingerprint: Mapped[str] = mapped_column(String(64))
    status: Mapped[int | None]
    headers: Mapped[dict[str, Any] | None] = mapped_column(Json)
    body: Mapped[str | None]
    created_at: Mapped[datetime]


class SecretFingerprint(Base):
    """The one row that says which secret the database belongs to, by a keyed hash that does not reveal it."""

    __tablename__ = "secret_fingerprint"
    __table_args__ = (check("id = 1", "one_row"), {"info": {"audited": False}})

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False, default=1)
    fingerprint: Mapped[str] = mapped_column(String(32), info={"secret": True})
    updated_at: Mapped[datetime]


class AuditEvent(Base):
    """Who changed what, when, from what to what; personal fields appear as keyed hashes."""

    __tablename__ = "audit_events"
    __table_args__ = (
        Index("ix_audit_events_object", "object_type", "object_id"),
        {"info": {"audited": False}},
    )

    id: Mapped[UUID] = mapped_column(primary_key=True, default=new_id)
    at: Mapped[datetime]
    key_id: Mapped[UUID | None]
    technician_id: Mapped[UUID | None]
    request_id: Mapped[str | None] = mapped_column(String(64))
    object_type: Mapped[str] = mapped_column(String(64))
    object_id: Mapped[str] = mapped_column(String(80))
    version: Mapped[int | None]
    action: Mapped[str] = mapped_column(String(20))
    before: Mapped[dict[str, Any] | None] = mapped_column(Json)
    after: Mapped[dict[str, Any] | None] = mapped_column(Json)


class DomainEvent(Base):
    """Something happened that others may want to hear of; written in the same transaction as the change."""

    __tablename__ = "domain_events"
    __table_args__ = (
        UniqueConstraint("object_type", "object_id", "sequence"),
        Index("ix_domain_events_at", "at"),
        Index("uq_domain_events_position", "position", unique=True),
        Index("ix_domain_events_new", "sequence", "at", "id",
              sqlite_where=text(NEW), postgresql_where=text(NEW)),
        {"info": {"audited": False}},
    )  # fmt: skip

    id: Mapped[UUID] = mapped_column(primary_key=True, default=new_id)
    at: Mapped[datetime]
    type: Mapped[str] = mapped_column(String(64))
    object_type: Mapped[str] = mapped_column(String(64))
    object_id: Mapped[UUID]
    sequence: Mapped[int]
    """1, 2, 3 … per object: the order in which they happened to it."""
    data: Mapped[dict[str, Any]] = mapped_column(Json)
    position: Mapped[int | None] = mapped_column(BigInteger)
    """Its place in the feed, given once by the worker: what has one is committed, and so is all before it.
    Null means that nobody has been told yet."""

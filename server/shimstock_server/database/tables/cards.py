"""The addresses under which owners see where their instrument is."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from sqlalchemy import ForeignKey, Index, LargeBinary, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from .base import Base, Versioned


class CardLink(Versioned, Base):
    """One address of one job's page; only a hash of its 160 secret bits is kept."""

    __tablename__ = "card_links"
    __table_args__ = (
        UniqueConstraint("token_hash"),
        Index("ix_card_links_job_id", "job_id"),
        Index("ix_card_links_derived_from_id", "derived_from_id"),
    )

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))
    token_hash: Mapped[bytes] = mapped_column(LargeBinary(32), info={"secret": True})
    key_id: Mapped[UUID | None] = mapped_column(ForeignKey("api_keys.id"))
    derived_from_id: Mapped[UUID | None] = mapped_column(ForeignKey("card_links.id"))
    """The link with which the recheck was booked that this one is for: it is revoked and ends with it."""
    expires_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]

"""API keys: only a hash of the secret is kept."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from sqlalchemy import ForeignKey, LargeBinary, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from ..words import Scope, Units
from .base import Base, Versioned, check, words


class ApiKey(Versioned, Base):
    """A key for one scope; a bench key carries its bench."""

    __tablename__ = "api_keys"
    __table_args__ = (
        check("(scope = 'bench') = (bench_id IS NOT NULL)", "bench_keys_carry_a_bench"),
        UniqueConstraint("lookup"),
    )

    name: Mapped[str] = mapped_column(String(200))
    scope: Mapped[Scope] = mapped_column(words(Scope, "scope"))
    bench_id: Mapped[UUID | None] = mapped_column(ForeignKey("benches.id"))
    lookup: Mapped[str] = mapped_column(String(32))
    """The public part of the key, by which its row is found."""
    secret_hash: Mapped[bytes] = mapped_column(LargeBinary(32), info={"secret": True})
    site_id: Mapped[UUID | None]
    """Of a booking key: the website that it speaks for, which a key that replaces another one shares."""
    units: Mapped[Units] = mapped_column(words(Units, "units"), default=Units.MM)
    expires_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]
    last_used_at: Mapped[datetime | None]
    """To the hour, written outside the request's transaction."""

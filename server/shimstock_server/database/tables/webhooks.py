"""Who wants to hear of what happens, and what became of telling them."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, Index, LargeBinary, String, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column

from ..words import DeliveryState
from .base import Base, Identified, Json, Versioned, check, words

PENDING = "state = 'pending'"


class WebhookEndpoint(Versioned, Base):
    """An address that is told of events. Its secret is derived from the service's and from this salt."""

    __tablename__ = "webhook_endpoints"
    __table_args__ = (
        check("active OR disabled_reason IS NOT NULL", "disabled_with_a_reason"),
        check("(former_salt IS NULL) = (former_until IS NULL)", "former_secret_ends"),
        Index("ix_webhook_endpoints_site_id", "site_id"),
    )

    url: Mapped[str] = mapped_column(String(2000))
    description: Mapped[str | None] = mapped_column(String(200))
    types: Mapped[list[Any]] = mapped_column(Json, default=list)
    """The types of event that it is told of; empty means all."""
    site_id: Mapped[UUID | None]
    """The website that it belongs to, which hears of its own bookings alone; null for the shop's own."""
    active: Mapped[bool] = mapped_column(default=True)
    disabled_reason: Mapped[str | None] = mapped_column(String(40))
    salt: Mapped[bytes] = mapped_column(LargeBinary(16), info={"secret": True})
    former_salt: Mapped[bytes | None] = mapped_column(LargeBinary(16), info={"secret": True})
    former_until: Mapped[datetime | None]


class WebhookDelivery(Identified, Base):
    """One event on its way to one endpoint."""

    __tablename__ = "webhook_deliveries"
    __table_args__ = (
        UniqueConstraint("endpoint_id", "event_id"),
        check("(state = 'pending') = (ended_at IS NULL)", "ended_or_pending"),
        check("(lease IS NULL) = (lease_until IS NULL)", "leased_until"),
        Index("ix_webhook_deliveries_due", "endpoint_id", "due_at",
              sqlite_where=text(PENDING), postgresql_where=text(PENDING)),
        Index("ix_webhook_deliveries_order", "endpoint_id", "object_type", "object_id", "sequence",
              sqlite_where=text(PENDING), postgresql_where=text(PENDING)),
        Index("ix_webhook_deliveries_created_at", "created_at", "id"),
        {"info": {"audited": False}},
    )  # fmt: skip

    endpoint_id: Mapped[UUID] = mapped_column(ForeignKey("webhook_endpoints.id"))
    event_id: Mapped[UUID] = mapped_column(ForeignKey("domain_events.id"))
    object_type: Mapped[str] = mapped_column(String(64))
    object_id: Mapped[UUID]
    sequence: Mapped[int]
    state: Mapped[DeliveryState] = mapped_column(words(DeliveryState, "state"))
    attempts: Mapped[int] = mapped_column(default=0)
    """Since it was put on its way; a replay begins again."""
    due_at: Mapped[datetime]
    lease: Mapped[UUID | None]
    """The worker's attempt that is under way."""
    lease_until: Mapped[datetime | None]
    ended_at: Mapped[datetime | None]


class DeliveryAttempt(Identified, Base):
    """One attempt to tell an endpoint, and what it answered."""

    __tablename__ = "delivery_attempts"
    __table_args__ = (
        Index("ix_delivery_attempts_delivery_id", "delivery_id", "id"),
        {"info": {"audited": False}},
    )

    delivery_id: Mapped[UUID] = mapped_column(ForeignKey("webhook_deliveries.id"))
    status: Mapped[int | None]
    error: Mapped[str | None] = mapped_column(String(200))
    answer: Mapped[str | None] = mapped_column(String(200))
    """The beginning of what it answered."""
    milliseconds: Mapped[int]

"""Records of webhooks, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ..._wire import UNKNOWN, Record, Stored
from ..words import WebhookDeliveryState


@dataclass(kw_only=True, repr=False, eq=False)
class Attempt(Record):
    """One attempt to deliver a webhook."""

    answer: str | None = None
    """The beginning of what the endpoint answered. Null for a website's endpoint where the operator lets
    webhooks into the own network.
    """
    at: datetime | None = None
    error: str | None = None
    milliseconds: int = 0
    status: int | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class EventObject(Stored):
    """What an event happened to."""

    sequence: int = 0
    """1, 2, 3 … for each object: the order in which it happened to it."""
    type: str = ""
    """What stands before the point in the event's type: booking, job …"""


@dataclass(kw_only=True, repr=False, eq=False)
class WebhookDelivery(Stored):
    """One event on its way to one endpoint."""

    attempts: int = 0
    """Since it was put on its way."""
    due_at: datetime | None = None
    """When it is tried next."""
    ended_at: datetime | None = None
    endpoint_id: str = ""
    event_id: str = ""
    """Stands in the webhook-id header."""
    last_answer: str | None = None
    """The beginning of it."""
    last_error: str | None = None
    last_status: int | None = None
    log: list[Attempt] = field(default_factory=list)
    """Every attempt, the oldest first."""
    object: EventObject = field(default_factory=EventObject)
    state: WebhookDeliveryState = UNKNOWN
    type: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class WebhookEndpoint(Stored):
    """A webhook endpoint."""

    active: bool = False
    description: str | None = None
    disabled_reason: str | None = None
    """switched-off, or gone when the endpoint answered 410."""
    former_secret_until: datetime | None = None
    """Until then messages carry two signatures."""
    types: list[str] = field(default_factory=list)
    """Empty for all that its key may hear."""
    url: str = ""
    secret: str | None = field(default=None, repr=False)
    """whsec_…, shown once; null in the kept answer of a repeated request."""

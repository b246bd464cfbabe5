"""Bodies and filters of webhooks, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NotRequired, TypedDict
from uuid import UUID

from ..._writes import CallOptions
from ..words import WebhookDeliveryState


class EndpointIn(TypedDict):
    """A dictionary as it travels."""

    description: NotRequired[str | None]
    types: NotRequired[Sequence[str]]
    url: str


class EndpointChange(TypedDict):
    """A dictionary as it travels."""

    active: NotRequired[bool]
    description: NotRequired[str | None]
    types: NotRequired[Sequence[str]]
    url: NotRequired[str]


class RotationIn(TypedDict):
    """A dictionary as it travels."""

    keep_hours: NotRequired[int]


class WebhookDeliveriesFilters(CallOptions, total=False):
    """What `/v1/webhook-deliveries` can be asked for."""

    limit: int | None
    endpoint_id: UUID | str | None
    state: WebhookDeliveryState | None
    object_id: UUID | str | None


class WebhookEndpointsFilters(CallOptions, total=False):
    """What `/v1/webhook-endpoints` can be asked for."""

    limit: int | None

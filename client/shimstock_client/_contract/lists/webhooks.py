"""Lists of webhooks, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..._writes import Timeout, WriteOptions
from ..records.webhooks import WebhookDelivery, WebhookEndpoint

if TYPE_CHECKING:
    from ..bodies.webhooks import (
        EndpointChange,
        EndpointIn,
        WebhookDeliveriesFilters,
        WebhookEndpointsFilters,
    )


class WebhookDeliveries(Listed[WebhookDelivery]):
    """`/v1/webhook-deliveries`."""

    _path = "/webhook-deliveries"
    _record = WebhookDelivery

    def list(self, **filters: Unpack[WebhookDeliveriesFilters]) -> Iterator[WebhookDelivery]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})


class WebhookEndpoints(Listed[WebhookEndpoint]):
    """`/v1/webhook-endpoints`."""

    _path = "/webhook-endpoints"
    _record = WebhookEndpoint

    def list(self, **filters: Unpack[WebhookEndpointsFilters]) -> Iterator[WebhookEndpoint]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[EndpointIn],
    ) -> WebhookEndpoint:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def update(
        self,
        thing: WebhookEndpoint,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[EndpointChange],
    ) -> WebhookEndpoint:
        """Change the named fields; refused when it was changed since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        return self._update(
            thing, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )

    def delete(self, thing: WebhookEndpoint, **call: Unpack[WriteOptions]) -> None:
        """Delete one."""
        self._delete(thing, **call)

"""Webhooks and the feed over HTTP."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.database.tables.operations import DomainEvent
from shimstock_server.database.tables.webhooks import WebhookDelivery, WebhookEndpoint
from shimstock_server.keys import site_of
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match
from shimstock_server.web.paging import PageQuery, page, page_of
from shimstock_server.web.visibility import visibility

from . import endpoints, schemas
from .events import message
from .outbox import of_site
from .problems import EndpointSwitchedOff, TooManyEndpoints

webhooks = Blueprint("webhooks", "Who is told of what happens, as Standard Webhooks; and what came of it.")
feed = Blueprint("events", "Everything that happened, for programs that keep themselves up to date.")
blueprints = (webhooks, feed)

SCOPES = ("booking", "manager")

visibility("endpoint_id", endpoints.is_visible)
visibility("delivery_id", endpoints.is_delivery_visible)


def _endpoint(row: WebhookEndpoint, secret: str | None = None) -> dict[str, Any]:
    return endpoints.told(row, now=current.now, secret=secret)


@webhooks.operation(
    "GET", "/webhook-endpoints", scopes=SCOPES, query=PageQuery, answer=page_of(schemas.EndpointOut)
)
def list_webhook_endpoints(query: dict[str, Any]) -> Answer:
    """List the endpoints, the oldest first; a website sees its own."""
    statement = endpoints.of_actor(current.session, current.actor, select(WebhookEndpoint))
    return page(statement, query, sort=(WebhookEndpoint.created_at, WebhookEndpoint.id), show=_endpoint)


@webhooks.operation(
    "POST", "/webhook-endpoints", scopes=SCOPES, body=schemas.EndpointIn, answer=schemas.NewEndpointOut,
    status=201, writes=True, creates="key", conflicts=(TooManyEndpoints,),
)  # fmt: skip
def add_webhook_endpoint(body: dict[str, Any]) -> Answer:
    """Add an endpoint. It is told of what happens from now on.

    The secret is in this answer and nowhere else. A website hears of its own bookings and their jobs.
    """
    row, secret = endpoints.add(current.session, body, actor=current.actor, config=current.config)
    return Answer(_endpoint(row, secret), location=f"/v1/webhook-endpoints/{row.id}")


@webhooks.operation("GET", "/webhook-endpoints/<uuid:endpoint_id>", scopes=SCOPES, answer=schemas.EndpointOut)
def show_webhook_endpoint(endpoint_id: UUID) -> dict[str, Any]:
    """Show an endpoint, without its secret."""
    return _endpoint(current.session.get_one(WebhookEndpoint, endpoint_id))


def _for_change(endpoint_id: UUID) -> WebhookEndpoint:
    row = current.session.get_one(WebhookEndpoint, endpoint_id)
    must_match(row)
    return row


@webhooks.operation(
    "PATCH", "/webhook-endpoints/<uuid:endpoint_id>", scopes=SCOPES, body=schemas.EndpointChange,
    answer=schemas.EndpointOut, writes=True, edits=True,
)  # fmt: skip
def change_webhook_endpoint(endpoint_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Change an endpoint, switch it off or on again."""
    row = _for_change(endpoint_id)
    endpoints.change(current.session, row, body, actor=current.actor, config=current.config, now=current.now)
    return _endpoint(row)


@webhooks.operation(
    "DELETE", "/webhook-endpoints/<uuid:endpoint_id>", scopes=SCOPES, status=204, writes=True, edits=True
)
def delete_webhook_endpoint(endpoint_id: UUID) -> None:
    """Take an endpoint away, with its log."""
    endpoints.remove(current.session, _for_change(endpoint_id))


@webhooks.operation(
    "POST", "/webhook-endpoints/<uuid:endpoint_id>/secret", scopes=SCOPES, body=schemas.RotationIn,
    answer=schemas.NewEndpointOut, writes=True, creates="key", edits=True,
)  # fmt: skip
def rotate_webhook_secret(endpoint_id: UUID, body: dict[str, Any]) -> dict[str, Any]:
    """Give an endpoint another secret. For some hours messages are signed with both."""
    row = _for_change(endpoint_id)
    secret = endpoints.rotate(
        current.session, row, body["keep_hours"], config=current.config, now=current.now
    )
    return _endpoint(row, secret)


@webhooks.operation(
    "POST", "/webhook-endpoints/<uuid:endpoint_id>/test", scopes=SCOPES, answer=schemas.DeliveryOut,
    status=201, writes=True, creates="key", conflicts=(EndpointSwitchedOff,),
)  # fmt: skip
def test_webhook_endpoint(endpoint_id: UUID) -> Answer:
    """Send an endpoint a `webhook-endpoint.tested`; the delivery tells what came of it, within seconds."""
    row = current.session.get_one(WebhookEndpoint, endpoint_id)
    sent = endpoints.test(current.session, row, now=current.now)
    return Answer(_delivery(sent), location=f"/v1/webhook-deliveries/{sent.id}")


# ------------------------------------------------------------ the log


def _delivery(row: WebhookDelivery) -> dict[str, Any]:
    return endpoints.delivery_told(current.session, row)


@webhooks.operation(
    "GET", "/webhook-deliveries", scopes=SCOPES, query=schemas.DeliveryQuery,
    answer=page_of(schemas.DeliveryOut),
)  # fmt: skip
def list_webhook_deliveries(query: dict[str, Any]) -> Answer:
    """List what was told, the newest first, with every attempt; `state=parked` is what was given up."""
    statement = endpoints.deliveries(current.session, query, actor=current.actor)
    return page(
        statement,
        query,
        sort=(WebhookDelivery.created_at, WebhookDelivery.id),
        descending=True,
        show=_delivery,
    )


@webhooks.operation(
    "GET", "/webhook-deliveries/<uuid:delivery_id>", scopes=SCOPES, answer=schemas.DeliveryOut
)
def show_webhook_delivery(delivery_id: UUID) -> dict[str, Any]:
    """Show a delivery, with every attempt."""
    return _delivery(current.session.get_one(WebhookDelivery, delivery_id))


@webhooks.operation(
    "POST", "/webhook-deliveries/<uuid:delivery_id>/replay", scopes=SCOPES, answer=schemas.DeliveryOut,
    writes=True, creates="key",
)  # fmt: skip
def replay_webhook_delivery(delivery_id: UUID) -> dict[str, Any]:
    """Send something now, under the same webhook-id: what is on its way, was delivered or was parked."""
    return _delivery(endpoints.replay(current.session, delivery_id, now=current.now))


# ------------------------------------------------------------ the feed


@feed.operation(
    "GET", "/events", scopes=("bench", "booking", "manager"), query=schemas.FeedQuery, answer=schemas.FeedOut
)
def list_events(query: dict[str, Any]) -> Answer:
    """List what happened, in an order that never changes; a website sees what is about its own bookings.

    Keep `cursor` and ask again with it: nothing is left out and nothing comes twice, whenever it was
    committed. An event stands here as soon as the worker has given it its place, usually within a second.
    """
    statement = select(DomainEvent).where(DomainEvent.position.is_not(None))
    if current.actor.scope == "booking":
        statement = statement.where(of_site(site_of(current.session, current.actor)))
    if query.get("type"):
        statement = statement.where(DomainEvent.type.in_(query["type"]))
    return page(
        statement, query, sort=(DomainEvent.position, DomainEvent.id), show=_told, resumes=(0, UUID(int=0))
    )


def _told(event: DomainEvent) -> dict[str, Any]:
    told = message(event)
    return {**told, "timestamp": event.at}

"""Endpoints: added, changed, given another secret, taken away; and the log of what they were told."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, Select, delete, func, select, update
from sqlalchemy.orm import Session

from shimstock_server.clock import Clock
from shimstock_server.config import Config
from shimstock_server.database.history import emit
from shimstock_server.database.session import Database
from shimstock_server.database.tables.operations import DomainEvent
from shimstock_server.database.tables.webhooks import DeliveryAttempt, WebhookDelivery, WebhookEndpoint
from shimstock_server.database.words import DeliveryState
from shimstock_server.keys import site_of
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields

from . import signing, targets
from .events import EVENT_TYPES, FOR_SITES
from .problems import EndpointSwitchedOff, TooManyEndpoints

MOST = 20
"""Endpoints of one website, and of the shop itself."""
SWITCHED_OFF = "switched-off"
KEPT = timedelta(days=30)
"""How long the log keeps what was delivered."""
FORGOTTEN_AT_ONCE = 500


def is_visible(session: Session, actor: Actor, endpoint_id: UUID) -> bool:
    """Whether a key may see an endpoint: a manager all of them, a website its own."""
    found = session.execute(
        select(WebhookEndpoint.site_id).where(WebhookEndpoint.id == endpoint_id)
    ).one_or_none()
    return found is not None and _may_see(session, actor, found.site_id)


def is_delivery_visible(session: Session, actor: Actor, delivery_id: UUID) -> bool:
    """Whether a key may see a delivery: whoever may see its endpoint."""
    endpoint_id = session.scalar(select(WebhookDelivery.endpoint_id).where(WebhookDelivery.id == delivery_id))
    return endpoint_id is not None and is_visible(session, actor, endpoint_id)


def _may_see(session: Session, actor: Actor, site_id: UUID | None) -> bool:
    if actor.scope == "manager":
        return True
    return actor.scope == "booking" and site_id == site_of(session, actor)


def of_actor(session: Session, actor: Actor, statement: Select[Any]) -> Select[Any]:
    """Leave of a statement on endpoints what a key may see."""
    if actor.scope == "manager":
        return statement
    return statement.where(WebhookEndpoint.site_id == site_of(session, actor))


def add(
    session: Session, body: Mapping[str, Any], *, actor: Actor, config: Config
) -> tuple[WebhookEndpoint, str]:
    """Add an endpoint; return it with its secret, which is told this once.

    Raises
    ------
    InvalidFields
        When the address is not one that the service calls, or a type is not known to this key.
    TooManyEndpoints
        When there are as many as the service keeps.
    """
    site_id = site_of(session, actor)
    _check(body, actor=actor, config=config)
    there = session.scalar(
        select(func.count()).select_from(WebhookEndpoint).where(WebhookEndpoint.site_id == site_id)
        if site_id is not None
        else select(func.count()).select_from(WebhookEndpoint).where(WebhookEndpoint.site_id.is_(None))
    )
    if (there or 0) >= MOST:
        raise TooManyEndpoints
    row = WebhookEndpoint(
        url=body["url"],
        description=body["description"],
        types=list(body["types"]),
        site_id=site_id,
        salt=signing.new_salt(),
    )
    session.add(row)
    session.flush()
    return row, secret_told(row, config)


def change(
    session: Session,
    row: WebhookEndpoint,
    body: Mapping[str, Any],
    *,
    actor: Actor,
    config: Config,
    now: datetime,
) -> WebhookEndpoint:
    """Change an endpoint; one that is made active again is sent what was on its way then, at once."""
    _check(body, actor=actor, config=config)
    for name in ("url", "description"):
        if name in body:
            setattr(row, name, body[name])
    if "types" in body:
        row.types = list(body["types"])
    if "active" in body and body["active"] != row.active:
        row.active = body["active"]
        row.disabled_reason = None if row.active else SWITCHED_OFF
        if row.active:
            _hurry(session, WebhookDelivery.endpoint_id == row.id, now=now)
    session.flush()
    return row


def _check(body: Mapping[str, Any], *, actor: Actor, config: Config) -> None:
    errors = {}
    if "url" in body and (wrong := targets.check(body["url"], private=config.webhook_private)) is not None:
        errors["/url"] = wrong
    known = FOR_SITES if actor.scope == "booking" else EVENT_TYPES.keys()
    for n, name in enumerate(body.get("types", ())):
        if name not in known:
            errors[f"/types/{n}"] = f"is no type of event for this key; known are {', '.join(sorted(known))}"
    if errors:
        raise InvalidFields.of(errors)


def secret_told(row: WebhookEndpoint, config: Config) -> str:
    """Return the present secret of an endpoint, for the one answer that shows it."""
    return signing.told(signing.secret_of(config.secret, row.id, row.salt))


def rotate(session: Session, row: WebhookEndpoint, keep_hours: int, *, config: Config, now: datetime) -> str:
    """Give an endpoint another secret; the former one signs beside it for a while."""
    row.former_salt = row.salt if keep_hours else None
    row.former_until = now + timedelta(hours=keep_hours) if keep_hours else None
    row.salt = signing.new_salt()
    session.flush()
    return secret_told(row, config)


def remove(session: Session, row: WebhookEndpoint) -> None:
    """Take an endpoint away, with its log; what is on its way is told no more."""
    mine = select(WebhookDelivery.id).where(WebhookDelivery.endpoint_id == row.id)
    session.execute(delete(DeliveryAttempt).where(DeliveryAttempt.delivery_id.in_(mine)))
    session.execute(delete(WebhookDelivery).where(WebhookDelivery.endpoint_id == row.id))
    session.delete(row)


def told(row: WebhookEndpoint, *, now: datetime, secret: str | None = None) -> dict[str, Any]:
    """Return an endpoint as it is answered."""
    former = row.former_until if row.former_until is not None and row.former_until > now else None
    return {
        "id": row.id,
        "version": row.version,
        "created_at": row.created_at,
        "updated_at": row.updated_at,
        "url": row.url,
        "description": row.description,
        "types": row.types,
        "active": row.active,
        "disabled_reason": row.disabled_reason,
        "former_secret_until": former,
        "secret": secret,
    }


# ------------------------------------------------------------ the log


def deliveries(session: Session, query: Mapping[str, Any], *, actor: Actor) -> Select[Any]:
    """Select the deliveries that a key asks for."""
    statement = select(WebhookDelivery).join(
        WebhookEndpoint, WebhookEndpoint.id == WebhookDelivery.endpoint_id
    )
    statement = of_actor(session, actor, statement)
    for name in ("endpoint_id", "state", "object_id"):
        if name in query:
            statement = statement.where(getattr(WebhookDelivery, name) == query[name])
    return statement


def attempts_of(session: Session, delivery_id: UUID) -> list[DeliveryAttempt]:
    """Every attempt to deliver something, the oldest first."""
    query = select(DeliveryAttempt).where(DeliveryAttempt.delivery_id == delivery_id)
    return list(session.scalars(query.order_by(DeliveryAttempt.created_at, DeliveryAttempt.id)))


def delivery_told(session: Session, row: WebhookDelivery) -> dict[str, Any]:
    """Return a delivery as it is answered."""
    event = session.get_one(DomainEvent, row.event_id)
    tried = attempts_of(session, row.id)
    last = tried[-1] if tried else None
    return {
        "id": row.id,
        "created_at": row.created_at,
        "endpoint_id": row.endpoint_id,
        "event_id": row.event_id,
        "type": event.type,
        "object": {"type": row.object_type, "id": row.object_id, "sequence": row.sequence},
        "state": row.state,
        "attempts": row.attempts,
        "due_at": row.due_at if row.state is DeliveryState.PENDING else None,
        "ended_at": row.ended_at,
        "last_status": None if last is None else last.status,
        "last_error": None if last is None else last.error,
        "last_answer": None if last is None else last.answer,
        "log": [
            {"at": each.created_at, "status": each.status, "error": each.error, "answer": each.answer,
             "milliseconds": each.milliseconds}
            for each in tried
        ],
    }  # fmt: skip


def replay(session: Session, delivery_id: UUID, *, now: datetime) -> WebhookDelivery:
    """Send a delivery now, from the start of the schedule and under the same id.

    What happened to the same object earlier and is still on its way goes first.
    """
    row = session.scalars(
        select(WebhookDelivery).where(WebhookDelivery.id == delivery_id).with_for_update()
    ).one()
    row.state, row.attempts, row.due_at, row.ended_at = DeliveryState.PENDING, 0, now, None
    _hurry_before(session, row, now=now)
    return row


def test(session: Session, row: WebhookEndpoint, *, now: datetime) -> WebhookDelivery:
    """Send an endpoint an event that says nothing, whatever types it wants to be told of.

    Raises
    ------
    EndpointSwitchedOff
        When it is told of nothing.
    """
    if not row.active:
        raise EndpointSwitchedOff
    event = session.get_one(DomainEvent, emit(session, "webhook-endpoint.tested", row))
    sent = WebhookDelivery(
        endpoint_id=row.id,
        event_id=event.id,
        object_type=event.object_type,
        object_id=event.object_id,
        sequence=event.sequence,
        state=DeliveryState.PENDING,
        attempts=0,
        due_at=now,
    )
    session.add(sent)
    _hurry_before(session, sent, now=now)
    return sent


def _hurry_before(session: Session, row: WebhookDelivery, *, now: datetime) -> None:
    session.flush()
    _hurry(
        session,
        WebhookDelivery.endpoint_id == row.endpoint_id,
        WebhookDelivery.object_type == row.object_type,
        WebhookDelivery.object_id == row.object_id,
        WebhookDelivery.sequence < row.sequence,
        now=now,
    )


def _hurry(session: Session, *which: ColumnElement[bool], now: datetime) -> None:
    """Let what is on its way be sent now, and go on from the start of the schedule."""
    session.execute(
        update(WebhookDelivery)
        .where(WebhookDelivery.state == DeliveryState.PENDING, *which)
        .values(due_at=now, attempts=0)
        .execution_options(synchronize_session=False)
    )


def forget_delivered(database: Database, config: Config, clock: Clock) -> int:
    """Take out of the log what was delivered long ago; the worker's round. What is parked stays."""
    now = clock.now()
    with database.write({"now": now, "secret": config.secret}) as session:
        old = list(
            session.scalars(
                select(WebhookDelivery.id)
                .where(WebhookDelivery.state == DeliveryState.DELIVERED)
                .where(WebhookDelivery.ended_at < now - KEPT)
                .limit(FORGOTTEN_AT_ONCE)
            )
        )
        if old:
            session.execute(delete(DeliveryAttempt).where(DeliveryAttempt.delivery_id.in_(old)))
            session.execute(delete(WebhookDelivery).where(WebhookDelivery.id.in_(old)))
        endpoints = update(WebhookEndpoint).where(WebhookEndpoint.former_until < now)
        session.execute(endpoints.values(former_salt=None, former_until=None))
        return len(old)

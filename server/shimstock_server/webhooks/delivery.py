"""Telling the endpoints: leased, in order per object, retried for days, then parked.

A delivery is leased in one short transaction, sent without any, and its outcome noted in another: a writing
transaction never waits on the network. A worker that is killed leaves a lease that runs out, and another one
sends the message again, under the same id.
"""

from __future__ import annotations

import contextlib
import random
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, exists, func, or_, select, update
from sqlalchemy.orm import Session, aliased

from shimstock_server.clock import Clock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.operations import DomainEvent
from shimstock_server.database.tables.webhooks import DeliveryAttempt, WebhookDelivery, WebhookEndpoint
from shimstock_server.database.words import DeliveryState
from shimstock_server.web.operation import encode

from . import sending, signing
from .events import message
from .outbox import number_events

SCHEDULE = (
    timedelta(seconds=5), timedelta(seconds=15), timedelta(minutes=1), timedelta(minutes=5),
    timedelta(minutes=30), timedelta(hours=2), timedelta(hours=5), timedelta(hours=10), timedelta(hours=14),
    timedelta(hours=20), timedelta(hours=24),
)  # fmt: skip
"""From each failed attempt to the next: twelve attempts in three to four days, then it is parked.

The steps are those that Standard Webhooks 1.0.0 recommends, with 15 s and 1 min between the first two
(judgement): most receivers that are away are being restarted.
"""
LATER = 0.2
"""Part of each step by which chance may make it longer, so that not all comes at once (judgement)."""
LEASE = timedelta(minutes=2)
"""Longer than the attempts of a batch can take, name look-ups included."""
THREADS = 8
BATCH = 4 * THREADS
"""Leased at once at most: with every endpoint as slow as it may be they are sent within half the lease."""
LONGEST_WISH = timedelta(hours=24)
"""How long an endpoint's Retry-After can put an attempt off."""
EACH = 4
"""Deliveries of one endpoint at a time, each of another object."""
ROUND = 20.0
"""Seconds after which a round ends although more is due, so that the worker's other tasks get their turn."""
GONE = "gone"

Post = Callable[..., sending.Outcome]


@dataclass(frozen=True)
class Leased:
    """A message that is about to be sent."""

    delivery_id: UUID
    lease: UUID
    url: str
    message_id: str
    body: bytes
    secrets: tuple[bytes, ...]
    until: datetime
    """When the lease runs out."""


def tell(database: Database, config: Config, clock: Clock) -> int:
    """Number what is new and tell the endpoints; the worker's round."""
    return number_events(database, config, clock) + deliver(database, config, clock)


def deliver(database: Database, config: Config, clock: Clock, post: Post = sending.post) -> int:
    """Send what is due, until nothing is or the round has taken long enough; return how many were sent."""
    ends = time.monotonic() + ROUND
    sent = 0
    with ThreadPoolExecutor(THREADS, thread_name_prefix="webhook") as threads:
        while time.monotonic() < ends:
            leased = lease_due(database, config, clock)
            if not leased:
                break
            list(threads.map(lambda one: send_leased(database, config, clock, one, post), leased))
            sent += len(leased)
    return sent


def send_leased(database: Database, config: Config, clock: Clock, one: Leased, post: Post) -> None:
    """Send a leased message and note the outcome, unless its lease has run out meanwhile."""
    now = clock.now()
    if now >= one.until:
        return  # too late: another worker may have sent it by now, and what comes after it
    headers = signing.headers(one.message_id, now, one.body, one.secrets)
    outcome = post(one.url, one.body, headers, private=config.webhook_private)
    note(database, config, one, outcome, now=clock.now())


# ------------------------------------------------------------ leasing


def lease_due(database: Database, config: Config, clock: Clock) -> list[Leased]:
    """Lease what is due: of each endpoint a few, of each object the first that is pending.

    The endpoints take turns by chance, so that slow ones cannot keep the others waiting for ever.
    """
    now = clock.now()
    with database.read() as session:
        endpoints = list(session.scalars(_with_something_due(now)))
    leased: list[Leased] = []
    for endpoint_id in endpoints:
        if len(leased) > BATCH - EACH:
            break
        with database.write({"now": now, "secret": config.secret}) as session:
            leased += _lease(session, endpoint_id, config, now)
    return leased


def _free(now: datetime) -> ColumnElement[bool]:
    return or_(WebhookDelivery.lease.is_(None), WebhookDelivery.lease_until <= now)


def _with_something_due(now: datetime) -> Any:
    return (
        select(WebhookEndpoint.id)
        .where(WebhookEndpoint.active)
        .where(
            exists().where(
                WebhookDelivery.endpoint_id == WebhookEndpoint.id,
                WebhookDelivery.state == DeliveryState.PENDING,
                WebhookDelivery.due_at <= now,
                _free(now),
                ~_behind(),
            )
        )
        .order_by(func.random())
    )


def _behind() -> ColumnElement[bool]:
    """Whether something that happened to the same object earlier is still on its way."""
    earlier = aliased(WebhookDelivery)
    return exists().where(
        earlier.endpoint_id == WebhookDelivery.endpoint_id,
        earlier.object_type == WebhookDelivery.object_type,
        earlier.object_id == WebhookDelivery.object_id,
        earlier.sequence < WebhookDelivery.sequence,
        earlier.state == DeliveryState.PENDING,
    )


def _lease(session: Session, endpoint_id: UUID, config: Config, now: datetime) -> list[Leased]:
    endpoint = session.get(WebhookEndpoint, endpoint_id)
    if endpoint is None or not endpoint.active:
        return []
    first = session.execute(
        select(WebhookDelivery.id, DomainEvent)
        .join(DomainEvent, DomainEvent.id == WebhookDelivery.event_id)
        .where(
            WebhookDelivery.endpoint_id == endpoint_id,
            WebhookDelivery.state == DeliveryState.PENDING,
            WebhookDelivery.due_at <= now,
            _free(now),
            ~_behind(),
        )
        .order_by(WebhookDelivery.due_at, WebhookDelivery.id)
        .limit(EACH)
    ).all()
    secrets = valid_secrets(endpoint, config, now)
    leased = []
    for delivery_id, event in first:
        lease = new_id()
        # Another worker may have been quicker since: then nothing is changed.
        taken = session.execute(
            update(WebhookDelivery)
            .where(WebhookDelivery.id == delivery_id, WebhookDelivery.state == DeliveryState.PENDING)
            .where(_free(now))
            .values(lease=lease, lease_until=now + LEASE)
            .returning(WebhookDelivery.id)
            .execution_options(synchronize_session=False)
        ).first()
        if taken is not None:
            body = encode(message(event)).encode()
            leased.append(Leased(delivery_id, lease, endpoint.url, str(event.id), body, secrets, now + LEASE))
    return leased


def valid_secrets(endpoint: WebhookEndpoint, config: Config, now: datetime) -> tuple[bytes, ...]:
    """The secrets that are valid at the moment: one, and for a while after a rotation the former one too."""
    salts = [endpoint.salt]
    if endpoint.former_salt is not None and endpoint.former_until is not None and endpoint.former_until > now:
        salts.append(endpoint.former_salt)
    return tuple(signing.secret_of(config.secret, endpoint.id, salt) for salt in salts)


# ------------------------------------------------------------ outcomes


def note(database: Database, config: Config, one: Leased, outcome: sending.Outcome, *, now: datetime) -> None:
    """Note what became of an attempt, unless its lease has run out and another worker has it."""
    with database.write({"now": now, "secret": config.secret}) as session:
        row = session.scalars(
            select(WebhookDelivery).where(WebhookDelivery.id == one.delivery_id).with_for_update()
        ).one_or_none()
        if row is None:
            return  # the endpoint was deleted meanwhile
        session.add(
            DeliveryAttempt(
                delivery_id=row.id,
                status=outcome.status,
                error=outcome.error,
                answer=outcome.answer if _may_be_shown(session, row.endpoint_id, config) else None,
                milliseconds=outcome.milliseconds,
                created_at=now,
            )
        )
        if row.lease != one.lease or row.state is not DeliveryState.PENDING:
            return
        row.lease = row.lease_until = None
        row.attempts += 1
        if outcome.delivered:
            row.state, row.ended_at = DeliveryState.DELIVERED, now
        elif outcome.gone:
            row.due_at = now
            _disable(session, row.endpoint_id)
        elif row.attempts > len(SCHEDULE):
            row.state, row.ended_at = DeliveryState.PARKED, now
        else:
            step = SCHEDULE[row.attempts - 1] * random.uniform(1, 1 + LATER)  # noqa: S311 - spreads attempts
            row.due_at = now + max(step, wished_pause(outcome.retry_after, now))


def _may_be_shown(session: Session, endpoint_id: UUID, config: Config) -> bool:
    """Whether whoever reads the log may see what the endpoint answered.

    Where the operator lets webhooks into the own network a website must not read there.
    """
    return not config.webhook_private or session.get_one(WebhookEndpoint, endpoint_id).site_id is None


def wished_pause(retry_after: str | None, now: datetime) -> timedelta:
    """Return how long a Retry-After header asks to wait, in seconds or as a date (RFC 9110, section 10.2.3).

    Examples
    --------
    >>> wished_pause("120", datetime(2026, 3, 2, tzinfo=UTC))
    datetime.timedelta(seconds=120)
    """
    text = (retry_after or "").strip()
    wished = timedelta()
    if text.isascii() and text.isdigit():
        wished = timedelta(seconds=int(text[:9]))
    elif text:
        with contextlib.suppress(ValueError, TypeError, OverflowError):
            when = parsedate_to_datetime(text)
            wished = (when if when.tzinfo is not None else when.replace(tzinfo=UTC)) - now
    return min(max(wished, timedelta()), LONGEST_WISH)


def _disable(session: Session, endpoint_id: UUID) -> None:
    endpoint = session.get(WebhookEndpoint, endpoint_id)
    if endpoint is not None and endpoint.active:
        endpoint.active, endpoint.disabled_reason = False, GONE

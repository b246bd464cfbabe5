"""From what happened to who is told: each event gets its place in the feed, and its deliveries.

Events are found by their state (no place yet), never by being newer than the last one seen: an event with a
smaller id can be committed later. Places are given by one worker at a time, so that a place stands for
"this is committed, and so is everything before it".
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, and_, func, insert, or_, select, text, update
from sqlalchemy.orm import Session

from shimstock_server.clock import Clock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.booking import Booking
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.operations import DomainEvent
from shimstock_server.database.tables.seasons import Reminder
from shimstock_server.database.tables.webhooks import WebhookDelivery, WebhookEndpoint
from shimstock_server.database.words import DeliveryState, ReminderKind

from .events import FOR_SITES, TEST

AT_ONCE = 500
OWNERS_REMINDERS = (ReminderKind.SEASONAL, ReminderKind.STRINGS)
"""What an owner is reminded of; that a neck settles is the bench's own matter."""
_ADVISORY_LOCK = 7_447_656_266
"""One more than the migrations'; any number will do that nobody else takes."""


def number_events(database: Database, config: Config, clock: Clock) -> int:
    """Give every new event its place, and put it on its way to whoever wants to hear of it."""
    total = 0
    while _anything_new(database):
        with database.write({"now": clock.now(), "secret": config.secret}) as session:
            numbered = _number_some(session)
        total += numbered
        if numbered == 0:
            break  # another worker is at it
    return total


def _anything_new(database: Database) -> bool:
    with database.read() as session:
        query = select(DomainEvent.id).where(DomainEvent.position.is_(None)).limit(1)
        return session.execute(query).first() is not None


def _number_some(session: Session) -> int:
    if session.get_bind().dialect.name == "postgresql":
        key = {"key": _ADVISORY_LOCK}
        if not session.execute(text("SELECT pg_try_advisory_xact_lock(:key)"), key).scalar():
            return 0
    # By sequence first: of an object, no event is ever taken before an earlier one of it.
    found = list(
        session.scalars(
            select(DomainEvent)
            .where(DomainEvent.position.is_(None))
            .order_by(DomainEvent.sequence, DomainEvent.at, DomainEvent.id)
            .limit(AT_ONCE)
        )
    )
    if not found:
        return 0
    last = session.scalar(select(func.max(DomainEvent.position))) or 0
    placed = in_order(found)
    session.execute(
        update(DomainEvent),
        [{"id": event.id, "position": last + n} for n, event in enumerate(placed, 1)],
    )
    rows = _deliveries(session, placed)
    if rows:
        session.execute(insert(WebhookDelivery), rows)
    return len(placed)


def in_order(events: Sequence[DomainEvent]) -> list[DomainEvent]:
    """Sort events by time; where clocks disagree, the order within each object counts more."""
    waiting: dict[tuple[str, UUID], deque[DomainEvent]] = defaultdict(deque)
    for event in sorted(events, key=lambda event: event.sequence):
        waiting[event.object_type, event.object_id].append(event)
    by_time = sorted(events, key=lambda event: (event.at, event.id))
    return [waiting[event.object_type, event.object_id].popleft() for event in by_time]


def _deliveries(session: Session, events: Sequence[DomainEvent]) -> list[dict[str, Any]]:
    endpoints = list(session.scalars(select(WebhookEndpoint).where(WebhookEndpoint.active)))
    if not endpoints:
        return []
    sites: dict[UUID, set[UUID]] = {}
    if any(each.site_id is not None for each in endpoints):
        sites = sites_of(session, events)
    now = session.info["now"]
    return [
        {
            "id": new_id(),
            "created_at": now,
            "endpoint_id": endpoint.id,
            "event_id": event.id,
            "object_type": event.object_type,
            "object_id": event.object_id,
            "sequence": event.sequence,
            "state": DeliveryState.PENDING,
            "attempts": 0,
            "due_at": now,
        }
        for event in events
        for endpoint in endpoints
        if _wants(endpoint, event, sites.get(event.object_id, set()))
    ]


def _wants(endpoint: WebhookEndpoint, event: DomainEvent, sites: set[UUID]) -> bool:
    if event.type == TEST:
        return False  # it went on its way to its endpoint when it was asked for
    if event.at < endpoint.created_at or (endpoint.types and event.type not in endpoint.types):
        return False
    if endpoint.site_id is None:
        return True
    return event.type in FOR_SITES and endpoint.site_id in sites


def sites_of(session: Session, events: Sequence[DomainEvent]) -> dict[UUID, set[UUID]]:
    """Return which websites each object of these events is about, where it is about any."""
    ids = defaultdict(set)
    for event in events:
        ids[event.object_type].add(event.object_id)
    found: dict[UUID, set[UUID]] = defaultdict(set)
    for kind, statement in _owned().items():
        if ids[kind]:
            column = statement.selected_columns[0]
            for object_id, site_id in session.execute(statement.where(column.in_(ids[kind]))):
                found[object_id].add(site_id)
    return found


def _owned() -> dict[str, Any]:
    """Of each type of object that can be a website's: the object's id, and the website's.

    A booking is the website's that made it, a job the one's that booked it; a recheck or new strings are
    the one's that booked a job of that instrument.
    """
    with_site = Booking.site_id.is_not(None)
    return {
        "booking": select(Booking.id, Booking.site_id).where(with_site),
        "job": select(Booking.job_id, Booking.site_id).where(with_site, Booking.job_id.is_not(None)),
        "reminder": (
            select(Reminder.id, Booking.site_id)
            .join(Job, Job.instrument_id == Reminder.instrument_id)
            .join(Booking, Booking.job_id == Job.id)
            .where(with_site, Reminder.kind.in_(OWNERS_REMINDERS))
        ),
    }


def of_site(site_id: UUID | None) -> ColumnElement[bool]:
    """The condition under which an event is about a website's own, for the feed."""
    return and_(
        DomainEvent.type.in_(FOR_SITES),
        or_(
            *(
                and_(
                    DomainEvent.object_type == kind,
                    DomainEvent.object_id.in_(
                        statement.where(Booking.site_id == site_id).with_only_columns(
                            statement.selected_columns[0]
                        )
                    ),
                )
                for kind, statement in _owned().items()
            )
        ),
    )

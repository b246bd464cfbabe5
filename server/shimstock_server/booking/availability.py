"""What is free: a hint that is right at the moment of asking. Only a booking decides."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from shimstock_server.database.tables.booking import Service
from shimstock_server.shop import local_day, settings
from shimstock_server.web.fields import instant_text
from shimstock_server.web.problems import InvalidFields

from .capacity import Staff, Taken, day_key, slot_key, staff, taken, workers
from .schemas import LONGEST_LOOK
from .slots import bookable_slots

USUAL_LOOK = 14
NEXT_SLOTS = 5
NEXT_DAYS = 31


def free_slots(session: Session, service: Service, query: dict[str, Any], *, now: datetime) -> dict[str, Any]:
    """Return the free slots of a service, day by day."""
    today = local_day(session, now)
    first: date = query.get("first") or today
    if not date(1970, 1, 2) <= first <= date(2999, 1, 1):
        raise InvalidFields.at("/query/first", "must lie between 1970 and 2999")
    last: date = query.get("last") or first + timedelta(days=USUAL_LOOK - 1)
    if last < first:
        raise InvalidFields.at("/query/last", f"must not lie before the first day, {first}")
    if (last - first).days >= LONGEST_LOOK:
        raise InvalidFields.at("/query/last", f"must lie at most {LONGEST_LOOK - 1} days after the first")
    days = []
    if service.active:
        known, technicians = taken(session, service, first, last, now), staff(session, first, last)
        for offset in range((last - first).days + 1):
            day = first + timedelta(days=offset)
            slots = _free_on(session, service, day, known, technicians, now=now)
            if slots:
                days.append({"day": day, "slots": slots})
    return {
        "service_id": service.id,
        "zone": settings(session).zone,
        "first": first,
        "last": last,
        "days": days,
    }


def _free_on(
    session: Session,
    service: Service,
    day: date,
    known: Taken,
    technicians: Staff,
    *,
    now: datetime,
) -> list[dict[str, Any]]:
    slots = bookable_slots(session, service, day, now)
    if not slots:
        return []
    in_minutes = sum(
        max(0, worker.minutes - known.minutes.get((day, worker.technician_id), 0)) // service.bench_minutes
        for worker in workers(session, service, day, technicians)
    )
    on_day = in_minutes
    if service.places_per_day is not None:
        used = known.places.get(day_key(service.id, day), 0)
        on_day = min(on_day, service.places_per_day - used)
    return [
        {"at": slot.at, "wall": slot.wall, "places": left}
        for slot in slots
        if (left := min(on_day, service.places - known.places.get(slot_key(service.id, slot.at), 0))) > 0
    ]


def next_slots(session: Session, service: Service, near: date, *, now: datetime) -> list[dict[str, Any]]:
    """Return the next few free slots from a day on, as they stand in a problem."""
    first = max(near, local_day(session, now))
    last = first + timedelta(days=NEXT_DAYS)
    known, technicians = taken(session, service, first, last, now), staff(session, first, last)
    found: list[dict[str, Any]] = []
    for offset in range(NEXT_DAYS + 1):
        found += _free_on(session, service, first + timedelta(days=offset), known, technicians, now=now)
        if len(found) >= NEXT_SLOTS:
            break
    return [{**slot, "at": instant_text(slot["at"])} for slot in found[:NEXT_SLOTS]]

"""Drop-off slots: local wall times within the opening hours, and the instants that they stand for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from shimstock_server.database.tables.booking import Service
from shimstock_server.shop import local_day, settings, wall_hours
from shimstock_server.web.fields import instant_text

FARTHEST_PROMISE = 366
"""Days to look ahead for the promised day; a shop that hardly ever opens has none nearer."""


@dataclass(frozen=True)
class Slot:
    """A drop-off slot of a day."""

    at: datetime
    """In UTC."""
    wall: str
    """As the shop's clocks show it."""
    day: date
    zone: str


def slots_of_day(session: Session, service: Service, day: date) -> list[Slot]:
    """Every slot of a service on a day, in order, whether free or not.

    Notes
    -----
    A wall time that the clocks jump over is no slot; one that they show twice is a slot once, the first time.
    """
    name = settings(session).zone
    zone = ZoneInfo(name)
    walls = sorted(
        {wall for opens, closes in wall_hours(session, day) for wall in _steps(opens, closes, service)}
    )
    found = [(wall, _instant(day, wall, zone)) for wall in walls]
    return [
        Slot(at, f"{day.isoformat()}T{wall}", day, name)
        for wall, at in sorted(found, key=lambda pair: pair[1] or datetime.max.replace(tzinfo=UTC))
        if at is not None
    ]


def _steps(opens: str, closes: str, service: Service) -> list[str]:
    start, end = _minutes(opens), _minutes(closes)
    return [f"{minute // 60:02}:{minute % 60:02}" for minute in range(start, end, service.step_minutes)]


def _minutes(wall: str) -> int:
    hour, minute = wall.split(":")
    return int(hour) * 60 + int(minute)


def _instant(day: date, wall: str, zone: ZoneInfo) -> datetime | None:
    """The first instant at which the clocks show a wall time; None when they jump over it."""
    local = datetime.combine(day, time.fromisoformat(wall), tzinfo=zone)
    instant = local.astimezone(UTC)
    shown = instant.astimezone(zone)
    return instant if shown.replace(tzinfo=None) == local.replace(tzinfo=None) else None


def window(service: Service, now: datetime) -> tuple[datetime, datetime]:
    """From when to when a slot can be booked at this moment."""
    return now + timedelta(minutes=service.notice_minutes), now + timedelta(days=service.ahead_days)


def bookable_slots(session: Session, service: Service, day: date, now: datetime) -> list[Slot]:
    """The slots of a day that are neither too near nor too far."""
    first, last = window(service, now)
    return [slot for slot in slots_of_day(session, service, day) if first <= slot.at <= last]


def find_slot(session: Session, service: Service, at: datetime, now: datetime) -> Slot | str:
    """Return the slot that an instant names, or what is wrong with it."""
    first, last = window(service, now)
    if at <= now:
        return "lies in the past"
    if at < first:
        return f"must be booked {service.notice_minutes} minutes before"
    if at > last:
        return f"lies farther ahead than {service.ahead_days} days"
    day = local_day(session, at)
    slots = slots_of_day(session, service, day)
    for slot in slots:
        if slot.at == at:
            return slot
    if not slots:
        return f"the shop takes nothing in on {day}"
    local = at.astimezone(ZoneInfo(slots[0].zone)).replace(tzinfo=None)
    same = next((slot for slot in slots if datetime.fromisoformat(slot.wall) == local), None)
    shown = local.strftime("%H:%M")
    if same is not None:
        return f"{shown} comes twice that day and is offered once: {instant_text(same.at)}"
    times = ", ".join(slot.wall[-5:] for slot in slots[:4])
    return f"is no drop-off slot: {shown} is not among {times}{', …' if len(slots) > 4 else ''} of {day}"


def promised_day(session: Session, service: Service, day: date) -> date:
    """The day for which a job dropped off on a day is promised: so many opening days later."""
    left, found = service.lead_days, day
    for ahead in range(1, FARTHEST_PROMISE):
        if left <= 0:
            break
        next_day = day + timedelta(days=ahead)
        if wall_hours(session, next_day):
            left, found = left - 1, next_day
    return found

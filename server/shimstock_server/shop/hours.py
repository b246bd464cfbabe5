"""When the shop is open: weekly local wall times in its zone, dated exceptions, days when clocks change."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.shop import Closure, Shop
from shimstock_server.web.problems import Conflict

FARTHEST = 31
"""Days to look back or ahead for an opening; a shop closed longer has none near."""


class ShopNotSetUp(Conflict):
    """The shop has no name, place and time zone yet; a manager sets it up with PUT /v1/shop."""

    code = "shop-not-set-up"
    title = "Shop not set up"


def settings(session: Session) -> Shop:
    """The one shop's settings.

    Raises
    ------
    ShopNotSetUp
        Before a manager has set it up.
    """
    shop = session.scalars(select(Shop)).one_or_none()
    if shop is None:
        raise ShopNotSetUp
    return shop


def local_day(session: Session, instant: datetime) -> date:
    """The day that an instant falls on in the shop's zone."""
    return instant.astimezone(ZoneInfo(settings(session).zone)).date()


def opening(session: Session, day: date) -> list[tuple[datetime, datetime]]:
    """When the shop is open on a day: pairs of instants in UTC, in order; empty when it is closed.

    A wall time that a DST change skips stands for the instant at which the clocks jump over it; of one that
    occurs twice the first opens and the second closes.
    """
    zone = ZoneInfo(settings(session).zone)
    return [span(day, opens, closes, zone) for opens, closes in wall_hours(session, day)]


def wall_hours(session: Session, day: date) -> list[tuple[str, str]]:
    """When the shop is open on a day, as its clocks show it: pairs of wall times, in order."""
    exceptions = list(session.scalars(select(Closure).where(Closure.day == day)))
    if exceptions:
        found = [(each.opens, each.closes) for each in exceptions]
    else:
        weekday = day.isoweekday()
        found = [
            (each.opens, each.closes) for each in settings(session).opening_hours if each.weekday == weekday
        ]
    return sorted((opens, closes) for opens, closes in found if opens is not None and closes is not None)


def span(day: date, start: str, end: str, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """The instants in UTC at which a local span of a day begins and ends (see `opening`)."""
    return _instant(day, start, zone, fold=0), _instant(day, end, zone, fold=1)


def last_opening(session: Session, instant: datetime) -> datetime | None:
    """When the shop last opened, at or before an instant; None when it has not for a month.

    Of a day with several openings the first counts: a shop that shuts for lunch has not begun a new day.
    """
    day = local_day(session, instant)
    for _ in range(FARTHEST):
        openings = opening(session, day)
        if openings and openings[0][0] <= instant:
            return openings[0][0]
        day -= timedelta(days=1)
    return None


def next_opening(session: Session, instant: datetime, *, after_days: int = 0) -> datetime | None:
    """When the shop opens next: the instant itself while it is open, else the next opening within a month.

    Parameters
    ----------
    instant : datetime
        From when on.
    after_days : int
        How many local days later at the earliest: 1 is the next day on which the shop is open.
    """
    today = local_day(session, instant)
    for ahead in range(after_days, after_days + FARTHEST):
        for opens, closes in opening(session, today + timedelta(days=ahead)):
            if ahead == 0 and opens <= instant < closes:
                return instant
            if opens > instant:
                return opens
    return None


def open_minutes(session: Session, since: datetime, until: datetime) -> int:
    """How long the shop was open between two instants [min]; of one that names no hours, how long it was."""
    shop = settings(session)
    zone = ZoneInfo(shop.zone)
    first, last = since.astimezone(zone).date(), until.astimezone(zone).date()
    exceptions: dict[date, list[tuple[str, str]]] = {}
    for each in session.scalars(select(Closure).where(Closure.day.between(first, last))):
        hours = exceptions.setdefault(each.day, [])
        if each.opens is not None and each.closes is not None:
            hours.append((each.opens, each.closes))
    if not shop.opening_hours and not any(exceptions.values()):
        return max(0, int((until - since).total_seconds() // 60))
    weekly: dict[int, list[tuple[str, str]]] = {}
    for row in shop.opening_hours:
        weekly.setdefault(row.weekday, []).append((row.opens, row.closes))
    seconds = 0.0
    for ahead in range((last - first).days + 1):
        day = first + timedelta(days=ahead)
        for wall in exceptions.get(day, weekly.get(day.isoweekday(), [])):
            opens, closes = span(day, *wall, zone)
            seconds += max(0.0, (min(closes, until) - max(opens, since)).total_seconds())
    return int(seconds // 60)


def _instant(day: date, wall: str, zone: ZoneInfo, *, fold: int) -> datetime:
    """The instant of a local wall time; one that does not exist becomes the moment after the jump."""
    if wall == "24:00":
        day, wall = day + timedelta(days=1), "00:00"
    local = datetime.combine(day, time.fromisoformat(wall), tzinfo=zone).replace(fold=fold)
    instant = local.astimezone(UTC)
    if instant.astimezone(zone).replace(tzinfo=None) == local.replace(tzinfo=None):
        return instant
    # In the gap: fold 0 reckons with the offset before the jump, fold 1 with the one after it; the jump lies
    # where both meet.
    before = local.replace(fold=0).utcoffset() or timedelta()
    after = local.replace(fold=1).utcoffset() or timedelta()
    jump = _jump(local.replace(tzinfo=None), zone, before, after)
    return jump.astimezone(UTC)


def _jump(wall: datetime, zone: ZoneInfo, before: timedelta, after: timedelta) -> datetime:
    """The instant at which the clocks jump over a wall time, to the minute."""
    low = wall.replace(tzinfo=UTC) - max(before, after) - timedelta(minutes=1)
    for minute in range(int(abs(after - before).total_seconds() // 60) * 2 + 3):
        moment = low + timedelta(minutes=minute)
        if moment.astimezone(zone).utcoffset() == max(before, after):
            return moment
    return wall.replace(tzinfo=UTC) - before

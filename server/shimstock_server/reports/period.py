"""The days that a report is about."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from shimstock_server.database.tables.shop import Shop
from shimstock_server.web.problems import InvalidFields

from .content import Period

YEAR = timedelta(days=364)
LONGEST = timedelta(days=366 * 50)


def period_of(wish: dict[str, Any], shop: Shop, now: datetime, *, where: str = "/query") -> Period:
    """Return the period that was asked for; a year up to today when left out.

    Raises
    ------
    InvalidFields
        When the first day lies after the last, or the period is longer than fifty years.
    """
    last: date = wish.get("last") or now.astimezone(ZoneInfo(shop.zone)).date()
    first: date = wish.get("first") or last - min(YEAR, last - date.min)
    if first > last:
        raise InvalidFields.at(f"{where}/first", f"lies after the last day, {last.isoformat()}")
    if last - first > LONGEST:
        raise InvalidFields.at(f"{where}/first", "a report covers fifty years at most")
    return Period(first, last, shop.zone)

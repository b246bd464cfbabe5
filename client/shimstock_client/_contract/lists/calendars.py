"""Lists of calendars, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..._writes import Timeout
from ..records.calendars import Calendar

if TYPE_CHECKING:
    from ..bodies.calendars import CalendarIn, CalendarsFilters


class Calendars(Listed[Calendar]):
    """`/v1/calendars`."""

    _path = "/calendars"
    _record = Calendar

    def list(self, **filters: Unpack[CalendarsFilters]) -> Iterator[Calendar]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[CalendarIn],
    ) -> Calendar:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

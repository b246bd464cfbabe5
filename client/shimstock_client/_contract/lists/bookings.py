"""Lists of bookings, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..._writes import Timeout
from ..records.bookings import Booking

if TYPE_CHECKING:
    from ..bodies.bookings import BookingsFilters, HoldIn


class Bookings(Listed[Booking]):
    """`/v1/bookings`."""

    _path = "/bookings"
    _record = Booking

    def list(self, **filters: Unpack[BookingsFilters]) -> Iterator[Booking]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[HoldIn],
    ) -> Booking:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

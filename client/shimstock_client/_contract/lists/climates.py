"""Lists of climates, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..._writes import Timeout
from ..records.climates import Climate

if TYPE_CHECKING:
    from ..bodies.climates import ClimateChange, ClimateIn, ClimatesFilters


class Climates(Listed[Climate]):
    """`/v1/climates`."""

    _path = "/climates"
    _record = Climate

    def list(self, **filters: Unpack[ClimatesFilters]) -> Iterator[Climate]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[ClimateIn],
    ) -> Climate:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def update(
        self,
        thing: Climate,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[ClimateChange],
    ) -> Climate:
        """Change the named fields; refused when it was changed since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        return self._update(
            thing, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )

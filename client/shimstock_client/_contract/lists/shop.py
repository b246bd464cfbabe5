"""Lists of shop, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..._writes import Timeout, WriteOptions
from ..records.shop import Closure

if TYPE_CHECKING:
    from ..bodies.shop import ClosureIn, ClosuresFilters


class Closures(Listed[Closure]):
    """`/v1/closures`."""

    _path = "/closures"
    _record = Closure

    def list(self, **filters: Unpack[ClosuresFilters]) -> Iterator[Closure]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[ClosureIn],
    ) -> Closure:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def delete(self, thing: Closure, **call: Unpack[WriteOptions]) -> None:
        """Delete one."""
        self._delete(thing, **call)

"""Lists of strings, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..._writes import Timeout
from ..records.strings import StringSet, Tuning

if TYPE_CHECKING:
    from ..bodies.strings import (
        StringSetChange,
        StringSetIn,
        StringSetsFilters,
        TuningChange,
        TuningIn,
        TuningsFilters,
    )


class StringSets(Listed[StringSet]):
    """`/v1/string-sets`."""

    _path = "/string-sets"
    _record = StringSet

    def list(self, **filters: Unpack[StringSetsFilters]) -> Iterator[StringSet]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[StringSetIn],
    ) -> StringSet:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def update(
        self,
        thing: StringSet,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[StringSetChange],
    ) -> StringSet:
        """Change the named fields; refused when it was changed since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        return self._update(
            thing, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )


class Tunings(Listed[Tuning]):
    """`/v1/tunings`."""

    _path = "/tunings"
    _record = Tuning

    def list(self, **filters: Unpack[TuningsFilters]) -> Iterator[Tuning]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[TuningIn],
    ) -> Tuning:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def update(
        self,
        thing: Tuning,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[TuningChange],
    ) -> Tuning:
        """Change the named fields; refused when it was changed since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        return self._update(
            thing, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )

"""Lists of people and tools, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack

from ..._collection import Listed
from ..._writes import Timeout
from ..records.people_and_tools import Bench, Technician, Tool

if TYPE_CHECKING:
    from ..bodies.people_and_tools import (
        BenchChange,
        BenchesFilters,
        BenchIn,
        TechnicianChange,
        TechnicianIn,
        TechniciansFilters,
        ToolChange,
        ToolIn,
        ToolsFilters,
    )


class Benches(Listed[Bench]):
    """`/v1/benches`."""

    _path = "/benches"
    _record = Bench

    def list(self, **filters: Unpack[BenchesFilters]) -> Iterator[Bench]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[BenchIn],
    ) -> Bench:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def update(
        self,
        thing: Bench,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[BenchChange],
    ) -> Bench:
        """Change the named fields; refused when it was changed since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        return self._update(
            thing, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )


class Technicians(Listed[Technician]):
    """`/v1/technicians`."""

    _path = "/technicians"
    _record = Technician

    def list(self, **filters: Unpack[TechniciansFilters]) -> Iterator[Technician]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[TechnicianIn],
    ) -> Technician:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def update(
        self,
        thing: Technician,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[TechnicianChange],
    ) -> Technician:
        """Change the named fields; refused when it was changed since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        return self._update(
            thing, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )


class Tools(Listed[Tool]):
    """`/v1/tools`."""

    _path = "/tools"
    _record = Tool

    def list(self, **filters: Unpack[ToolsFilters]) -> Iterator[Tool]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[ToolIn],
    ) -> Tool:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def update(
        self,
        thing: Tool,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[ToolChange],
    ) -> Tool:
        """Change the named fields; refused when it was changed since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        return self._update(
            thing, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )

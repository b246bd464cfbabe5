"""Lists of bench, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack
from uuid import UUID

from ..._collection import OfJob
from ..._writes import CallOptions, Timeout
from ..records.bench import Adjustment, ReadingSheet
from ..records.jobs import Job

if TYPE_CHECKING:
    from ..bodies.bench import AdjustmentIn, ReadingSheetIn


class JobAdjustments(OfJob[Adjustment]):
    """`/v1/jobs/{job_id}/adjustments`."""

    _path = "/adjustments"
    _record = Adjustment

    def list(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> Iterator[Adjustment]:
        """Walk all of them."""
        return self._walk(job, {**call})

    def create(
        self,
        job: Job | UUID | str,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[AdjustmentIn],
    ) -> Adjustment:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create(
            job, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )


class JobReadingSheets(OfJob[ReadingSheet]):
    """`/v1/jobs/{job_id}/reading-sheets`."""

    _path = "/reading-sheets"
    _record = ReadingSheet

    def list(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> Iterator[ReadingSheet]:
        """Walk all of them."""
        return self._walk(job, {**call})

    def create(
        self,
        job: Job | UUID | str,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[ReadingSheetIn],
    ) -> ReadingSheet:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create(
            job, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )

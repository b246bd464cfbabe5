"""Lists of jobs, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack
from uuid import UUID

from ..._collection import Listed, OfJob
from ..._writes import CallOptions, Timeout
from ..records.jobs import Consent, Job, Move, PartUsed, Quote

if TYPE_CHECKING:
    from ..bodies.jobs import ConsentIn, JobIn, JobPartIn, JobPatch, JobsFilters, QuoteIn


class Jobs(Listed[Job]):
    """`/v1/jobs`."""

    _path = "/jobs"
    _record = Job

    def list(self, **filters: Unpack[JobsFilters]) -> Iterator[Job]:
        """Walk all of them, page after page; `limit` = rows a page."""
        return self._walk({**filters})

    def create(
        self,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[JobIn],
    ) -> Job:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create({**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout)

    def update(
        self,
        thing: Job,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[JobPatch],
    ) -> Job:
        """Change the named fields; refused when it was changed since it was read.

        Raises
        ------
        Changed
            Read it again, look, and decide again.
        """
        return self._update(
            thing, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )


class JobConsents(OfJob[Consent]):
    """`/v1/jobs/{job_id}/consents`."""

    _path = "/consents"
    _record = Consent

    def list(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> Iterator[Consent]:
        """Walk all of them."""
        return self._walk(job, {**call})

    def create(
        self,
        job: Job | UUID | str,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[ConsentIn],
    ) -> Consent:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create(
            job, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )


class JobMoves(OfJob[Move]):
    """`/v1/jobs/{job_id}/moves`."""

    _path = "/moves"
    _record = Move

    def list(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> Iterator[Move]:
        """Walk all of them."""
        return self._walk(job, {**call})


class JobParts(OfJob[PartUsed]):
    """`/v1/jobs/{job_id}/parts`."""

    _path = "/parts"
    _record = PartUsed

    def list(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> Iterator[PartUsed]:
        """Walk all of them."""
        return self._walk(job, {**call})

    def create(
        self,
        job: Job | UUID | str,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[JobPartIn],
    ) -> PartUsed:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create(
            job, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )


class JobQuotes(OfJob[Quote]):
    """`/v1/jobs/{job_id}/quotes`."""

    _path = "/quotes"
    _record = Quote

    def list(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> Iterator[Quote]:
        """Walk all of them."""
        return self._walk(job, {**call})

    def create(
        self,
        job: Job | UUID | str,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[QuoteIn],
    ) -> Quote:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create(
            job, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )

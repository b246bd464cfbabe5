"""Lists of cards, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Unpack
from uuid import UUID

from ..._collection import OfJob
from ..._writes import CallOptions, Timeout
from ..records.cards import CardLink
from ..records.jobs import Job

if TYPE_CHECKING:
    from ..bodies.cards import CardLinkIn


class JobCardLinks(OfJob[CardLink]):
    """`/v1/jobs/{job_id}/card-links`."""

    _path = "/card-links"
    _record = CardLink

    def list(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> Iterator[CardLink]:
        """Walk all of them."""
        return self._walk(job, {**call})

    def create(
        self,
        job: Job | UUID | str,
        *,
        idempotency_key: str | None = None,
        retries: int | None = None,
        timeout: Timeout | None = None,
        **fields: Unpack[CardLinkIn],
    ) -> CardLink:
        """Add one; sent again under the same idempotency key it is added once."""
        return self._create(
            job, {**fields}, idempotency_key=idempotency_key, retries=retries, timeout=timeout
        )

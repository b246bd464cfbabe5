"""What the shop has learned: responses to adjustments."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from ._collection import Link, id_of, read
from ._learning_records import AdjustmentResponse, ResponseSample


class AdjustmentResponses:
    """How far readings follow adjustments, and the samples that it was learned from."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def list(self, **filters: Any) -> Iterator[AdjustmentResponse]:
        """Walk what was learned; `kind`, `level`, `model_id`."""
        return self._link.walk("/adjustment-responses", AdjustmentResponse, **filters)

    def samples(self, **filters: Any) -> Iterator[ResponseSample]:
        """Walk the samples; `flagged=True, reviewed=False` are those that somebody should look at."""
        return self._link.walk("/adjustment-responses/samples", ResponseSample, **filters)

    def review(
        self, sample: ResponseSample | UUID | str, *, leave_out: bool = False, note: str | None = None
    ) -> ResponseSample:
        """Say that a flagged sample was looked at, and whether to learn nothing from it."""
        path = f"/adjustment-responses/samples/{id_of(sample)}/review"
        body = {"leave_out": leave_out, "note": note}
        return read(ResponseSample, self._link.change("POST", path, body))

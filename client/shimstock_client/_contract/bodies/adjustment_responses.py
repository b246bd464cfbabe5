"""Bodies and filters of adjustment responses, made by client/generate.py: do not edit."""

from __future__ import annotations

from typing import NotRequired, TypedDict
from uuid import UUID

from ..._writes import CallOptions
from ..words import AdjustmentResponseKind, AdjustmentResponseLevel


class SampleReviewIn(TypedDict):
    """A dictionary as it travels."""

    leave_out: NotRequired[bool]
    note: NotRequired[str | None]


class AdjustmentResponsesFilters(CallOptions, total=False):
    """What `/v1/adjustment-responses` can be asked for."""

    limit: int | None
    kind: AdjustmentResponseKind | None
    level: AdjustmentResponseLevel | None
    model_id: UUID | str | None


class AdjustmentResponsesSamplesFilters(CallOptions, total=False):
    """What `/v1/adjustment-responses/samples` can be asked for."""

    limit: int | None
    kind: AdjustmentResponseKind | None
    model_id: UUID | str | None
    job_id: UUID | str | None
    flagged: bool | None
    reviewed: bool | None

"""What the shop has learned, as typed records."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ._quantity import Quantity
from ._records import Stored
from ._wire import Record


@dataclass(kw_only=True)
class AdjustmentResponse(Record):
    """How far a reading follows an adjustment, of the shop, a model or an instrument."""

    kind: str = ""
    level: str = ""
    model_id: str | None = None
    instrument_id: str | None = None
    mean: Quantity | None = None
    sd: Quantity | None = None
    mean_number: float | None = None
    sd_number: float | None = None
    samples: int = 0
    learned_at: datetime | None = None


@dataclass(kw_only=True)
class ResponseSample(Stored):
    """An adjustment with a reading before and after."""

    kind: str = ""
    job_id: str = ""
    instrument_id: str = ""
    model_id: str = ""
    at: datetime | None = None
    moved: Quantity | None = None
    before: Quantity | None = None
    after: Quantity | None = None
    settled: bool = False
    alone: bool = False
    response: float | None = None
    expected: float | None = None
    adjustments: list[str] = field(default_factory=list)
    doubt: str | None = None
    used: bool = False
    reviewed_at: datetime | None = None
    review_note: str | None = None

"""Records of adjustment responses, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored
from ..words import AdjustmentResponseKind, AdjustmentResponseLevel


@dataclass(kw_only=True, repr=False, eq=False)
class AdjustmentResponse(Record):
    """How far a reading follows an adjustment, of the shop, a model or an instrument."""

    half_time: Quantity | None = None
    """Of the rod: after which time half of that has come."""
    instrument_id: str | None = None
    kind: AdjustmentResponseKind = UNKNOWN
    late_share: float | None = None
    """Of the rod: the part of its effect that comes late; null for others."""
    learned_at: datetime | None = None
    level: AdjustmentResponseLevel = UNKNOWN
    mean: Quantity | None = None
    """Per turn of tightening, or per pull; null for the coupling."""
    mean_number: float | None = None
    """Of the coupling: by how much it differs from what the geometry says."""
    model_id: str | None = None
    nut_mean_number: float | None = None
    """Of the coupling: what mean_number says of action, for nut action."""
    nut_sd_number: float | None = None
    samples: int = 0
    """Jobs that it was learned from."""
    sd: Quantity | None = None
    sd_number: float | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class ResponseSample(Stored):
    """What a job says of a response, with the readings before and after its adjustments."""

    adjustments: list[str] = field(default_factory=list)
    after: Quantity | None = None
    after_uncertainty: Quantity | None = None
    alone: bool = False
    """Nothing else that moves this reading was done in between."""
    at: datetime | None = None
    """When the reading afterwards was taken."""
    before: Quantity | None = None
    before_uncertainty: Quantity | None = None
    doubt: str | None = None
    expected: float = 0.0
    """What is expected without samples."""
    instrument_id: str = ""
    job_id: str = ""
    kind: AdjustmentResponseKind = UNKNOWN
    model_id: str = ""
    moved: Quantity | None = None
    response: float | None = None
    """What the readings shown say by themselves [mm/turn, mm/N, or mm per mm of relief]; null when too
    little was moved.
    """
    review_note: str | None = None
    reviewed_at: datetime | None = None
    settled: bool = False
    used: bool = False

"""Records of calibration, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..._wire import UNKNOWN, Record, Stored
from ..words import By
from .reports import ReportPeriod


@dataclass(kw_only=True, repr=False, eq=False)
class StatedShare(Record):
    """`StatedShareOut` of the document."""

    inside: int = 0
    lower: float = 0.0
    """Of the true share, with 95 % confidence (Wilson)."""
    of: int = 0
    seen: float = 0.0
    """Share of the readings that fell inside."""
    stated: float = 0.0
    """Share that the interval states."""
    upper: float = 0.0


@dataclass(kw_only=True, repr=False, eq=False)
class CalibrationGroup(Stored):
    """`CalibrationGroupOut` of the document."""

    by: By = UNKNOWN
    doubtful: list[StatedShare] = field(default_factory=list)
    """The same of readings that were taken because an earlier one was in doubt, or once more where one
    still stood.
    """
    name: str = ""
    shares: list[StatedShare] = field(default_factory=list)
    """At 50, 80 and 95 %; without readings none."""


@dataclass(kw_only=True, repr=False, eq=False)
class ToolNoise(Record):
    """`ToolNoiseOut` of the document."""

    bench: str = ""
    bench_id: str = ""
    factor: float = 0.0
    """From 0.5 to 3; with few readings near 1."""
    readings: int = 0
    tool: str = ""
    tool_id: str = ""
    words: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class Calibration(Record):
    """`CalibrationOut` of the document."""

    groups: list[CalibrationGroup] = field(default_factory=list)
    noises: list[ToolNoise] = field(default_factory=list)
    period: ReportPeriod = field(default_factory=ReportPeriod)

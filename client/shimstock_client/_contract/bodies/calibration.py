"""Bodies and filters of calibration, made by client/generate.py: do not edit."""

from __future__ import annotations

from datetime import date

from ..._writes import CallOptions
from ..words import ReportsCalibrationFiltersTable


class ReportsCalibrationFilters(CallOptions, total=False):
    """What `/v1/reports/calibration` can be asked for."""

    first: date | str | None
    last: date | str | None
    table: ReportsCalibrationFiltersTable | None

"""Bodies and filters of bench agreement, made by client/generate.py: do not edit."""

from __future__ import annotations

from ..._writes import CallOptions
from ..words import AgreementTable


class ReportsBenchAgreementFilters(CallOptions, total=False):
    """What `/v1/reports/bench-agreement` can be asked for."""

    table: AgreementTable | None

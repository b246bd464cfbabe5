"""Bodies and filters of reports, made by client/generate.py: do not edit."""

from __future__ import annotations

from datetime import date
from typing import NotRequired, TypedDict

from ..._writes import CallOptions, WriteOptions
from ..words import InstrumentKind, ReportRunState, ReportTable


class ReportRunIn(TypedDict):
    """A dictionary as it travels."""

    first: NotRequired[date | str]
    kind: NotRequired[InstrumentKind | None]
    last: NotRequired[date | str]
    maker: NotRequired[str | None]


class ReportsInstrumentModelsFilters(CallOptions, total=False):
    """What `/v1/reports/instrument-models` can be asked for."""

    first: date | str | None
    last: date | str | None
    maker: str | None
    kind: InstrumentKind | None
    limit: int | None


class ReportsInstrumentModelFilters(CallOptions, total=False):
    """What `/v1/reports/instrument-models/{model_id}` can be asked for."""

    first: date | str | None
    last: date | str | None
    table: ReportTable | None


class ReportsRunsFilters(CallOptions, total=False):
    """What `/v1/reports/runs` can be asked for."""

    limit: int | None
    state: ReportRunState | None


class ReportsRunsReportsFilters(CallOptions, total=False):
    """What `/v1/reports/runs/{run_id}/reports` can be asked for."""

    limit: int | None
    table: ReportTable | None


class ReportRunFields(WriteOptions):
    """A dictionary as it travels."""

    first: NotRequired[date | str]
    kind: NotRequired[InstrumentKind | None]
    last: NotRequired[date | str]
    maker: NotRequired[str | None]

"""What the shop has learned: responses to adjustments, and batch reports."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from ._collection import Link, id_of, read
from ._learning_records import AdjustmentResponse, ModelReport, Ranking, ReportRun, ResponseSample
from ._records import Stored


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


class Reports:
    """Batch reports by instrument model; `first` and `last` are days of the shop's calendar."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def ranking(self, **filters: Any) -> Ranking:
        """Rank the models by what a job on them costs; `first`, `last`, `maker`, `kind`, `limit`."""
        return read(Ranking, self._link.ask("/reports/instrument-models", **filters))

    def of_model(self, model: Stored | UUID | str, **period: Any) -> ModelReport:
        """Read all that the shop knows of a model."""
        return read(ModelReport, self._link.ask(self._of(model), **period))

    def page_of_model(self, model: Stored | UUID | str, **period: Any) -> str:
        """Read the same as a page with pictures (HTML)."""
        return str(self._link.ask(self._of(model), accept="text/html", **period).content)

    def table_of_model(self, model: Stored | UUID | str, table: str, **period: Any) -> str:
        """Read one of its tables as CSV: quantities, bins, steps, findings, season or jobs."""
        return str(self._link.ask(self._of(model), accept="text/csv", table=table, **period).content)

    def begin(self, *, idempotency_key: str | None = None, **wish: Any) -> ReportRun:
        """Have a long report made, of all models or those of a `maker` or `kind`."""
        answer = self._link.change("POST", "/reports/runs", wish, idempotency_key=idempotency_key)
        return read(ReportRun, answer)

    def runs(self, **filters: Any) -> Iterator[ReportRun]:
        """Walk the long reports, the newest first."""
        return self._link.walk("/reports/runs", ReportRun, **filters)

    def run(self, run: ReportRun | UUID | str) -> ReportRun:
        """Read how far a long report is."""
        return read(ReportRun, self._link.ask(f"/reports/runs/{id_of(run)}"))

    def models_of(self, run: ReportRun | UUID | str) -> Iterator[ModelReport]:
        """Walk the models of a long report that are done."""
        return self._link.walk(f"/reports/runs/{id_of(run)}/reports", ModelReport)

    def page_of(self, run: ReportRun | UUID | str) -> str:
        """Read a long report as a page with pictures (HTML)."""
        path = f"/reports/runs/{id_of(run)}/reports"
        return str(self._link.ask(path, accept="text/html").content)

    def table_of(self, run: ReportRun | UUID | str, table: str) -> str:
        """Read one table of all models of a long report as CSV."""
        path = f"/reports/runs/{id_of(run)}/reports"
        return str(self._link.ask(path, accept="text/csv", table=table).content)

    @staticmethod
    def _of(model: Stored | UUID | str) -> str:
        return f"/reports/instrument-models/{id_of(model)}"

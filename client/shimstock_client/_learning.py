"""What the shop has learned: responses to adjustments, batch reports, whether the benches agree; exports."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any, Unpack
from uuid import UUID

from ._answer import Answer
from ._collection import Link, id_of, read
from ._contract import (
    AdjustmentResponse,
    Calibration,
    CheckPiece,
    CheckReading,
    ModelReport,
    NextReading,
    Ranking,
    ReadingsImport,
    ReportRun,
    ResponseSample,
    Study,
    StudyAgreement,
)
from ._contract.lists import check_pieces, studies
from ._errors import BadAnswer
from ._ids import uuid7
from ._quantity import Quantity
from ._wire import Stored
from ._writes import CallOptions, WriteOptions, apart

if TYPE_CHECKING:
    from ._contract import (
        AdjustmentResponsesFilters,
        AdjustmentResponsesSamplesFilters,
        CheckFields,
        CheckPiecesReadingsFilters,
        ReportRunFields,
        ReportsInstrumentModelsFilters,
        ReportsRunsFilters,
        ReportTable,
        StudyReadingFields,
    )


class AdjustmentResponses:
    """How far readings follow adjustments, and what each job said of it."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def list(self, **filters: Unpack[AdjustmentResponsesFilters]) -> Iterator[AdjustmentResponse]:
        """Walk what was learned; `kind`, `level`, `model_id`."""
        return self._link.walk("/adjustment-responses", AdjustmentResponse, **filters)

    def samples(self, **filters: Unpack[AdjustmentResponsesSamplesFilters]) -> Iterator[ResponseSample]:
        """Walk what each job said; `flagged=True, reviewed=False` are those that a human should look at."""
        return self._link.walk("/adjustment-responses/samples", ResponseSample, **filters)

    def review(
        self,
        sample: ResponseSample | UUID | str,
        *,
        leave_out: bool = False,
        note: str | None = None,
        **call: Unpack[WriteOptions],
    ) -> ResponseSample:
        """Say that a flagged sample was looked at, and whether to learn nothing from it."""
        path = f"/adjustment-responses/samples/{id_of(sample)}/review"
        body = {"leave_out": leave_out, "note": note}
        return read(ResponseSample, self._link.change("POST", path, body, **call))


class PeriodOptions(CallOptions, total=False):
    """Which days count."""

    first: date | str | None
    last: date | str | None


class Reports:
    """Batch reports by instrument model; `first` and `last` are days of the shop's calendar."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def ranking(self, **filters: Unpack[ReportsInstrumentModelsFilters]) -> Ranking:
        """Rank the models by what a job on them costs; `first`, `last`, `maker`, `kind`, `limit`."""
        return read(Ranking, self._link.ask("/reports/instrument-models", **filters))

    def ranking_page(self, **filters: Unpack[ReportsInstrumentModelsFilters]) -> str:
        """Read the ranking as a page (HTML)."""
        return str(self._link.ask("/reports/instrument-models", accept="text/html", **filters).content)

    def ranking_table(self, **filters: Unpack[ReportsInstrumentModelsFilters]) -> str:
        """Read the ranking as CSV."""
        return str(self._link.ask("/reports/instrument-models", accept="text/csv", **filters).content)

    def of_model(self, model: Stored | UUID | str, **period: Unpack[PeriodOptions]) -> ModelReport:
        """Read all that the shop knows of a model."""
        return read(ModelReport, self._link.ask(_of(model), **period))

    def page_of_model(self, model: Stored | UUID | str, **period: Unpack[PeriodOptions]) -> str:
        """Read the same as a page with pictures (HTML)."""
        return str(self._link.ask(_of(model), accept="text/html", **period).content)

    def paper_of_model(self, model: Stored | UUID | str, **period: Unpack[PeriodOptions]) -> bytes:
        """Read the same on paper (PDF)."""
        return _bytes(self._link.ask(_of(model), accept="application/pdf", **period), "a PDF")

    def tables_of_model(self, model: Stored | UUID | str, **period: Unpack[PeriodOptions]) -> bytes:
        """Read all its tables as a zip of CSV files."""
        return _bytes(self._link.ask(_of(model), accept="application/zip", **period), "a zip")

    def table_of_model(
        self, model: Stored | UUID | str, table: ReportTable, **period: Unpack[PeriodOptions]
    ) -> str:
        """Read one of its tables as CSV: quantities, bins, steps, findings, season or jobs."""
        return str(self._link.ask(_of(model), accept="text/csv", table=table, **period).content)

    def begin(self, **request: Unpack[ReportRunFields]) -> ReportRun:
        """Have a long report made, of all models or those of a `maker` or `kind`."""
        body, call = apart(request)
        return read(ReportRun, self._link.change("POST", "/reports/runs", body, **call))

    def runs(self, **filters: Unpack[ReportsRunsFilters]) -> Iterator[ReportRun]:
        """Walk the long reports, the newest first."""
        return self._link.walk("/reports/runs", ReportRun, **filters)

    def run(self, run: ReportRun | UUID | str, **call: Unpack[CallOptions]) -> ReportRun:
        """Read how far a long report is."""
        return read(ReportRun, self._link.ask(f"/reports/runs/{id_of(run)}", **call))

    def watch(
        self, run: ReportRun | UUID | str, *, every: float = 0.5, sleep: Callable[[float], None] = time.sleep
    ) -> Iterator[ReportRun]:
        """Walk the states of a long report until it has ended, looking every so many seconds."""
        while True:
            found = self.run(run)
            yield found
            if found.ended_at is not None:
                return
            sleep(every)

    def models_of(self, run: ReportRun | UUID | str, **call: Unpack[CallOptions]) -> Iterator[ModelReport]:
        """Walk the models of a long report that are done."""
        return self._link.walk(_reports(run), ModelReport, **call)

    def page_of(self, run: ReportRun | UUID | str, **call: Unpack[CallOptions]) -> str:
        """Read a long report as a page with pictures (HTML)."""
        return str(self._link.ask(_reports(run), accept="text/html", **call).content)

    def tables_of(self, run: ReportRun | UUID | str, **call: Unpack[CallOptions]) -> bytes:
        """Read all tables of a long report as a zip of CSV files."""
        return _bytes(self._link.ask(_reports(run), accept="application/zip", **call), "a zip")

    def table_of(self, run: ReportRun | UUID | str, table: ReportTable, **call: Unpack[CallOptions]) -> str:
        """Read one table of all models of a long report as CSV."""
        return str(self._link.ask(_reports(run), accept="text/csv", table=table, **call).content)

    def bench_agreement(self, **call: Unpack[CallOptions]) -> Mapping[str, Any]:
        """Read whether the benches measure the same: newest studies in words, and who drifts."""
        return self._link.ask("/reports/bench-agreement", **call).object()

    def bench_agreement_page(self, **call: Unpack[CallOptions]) -> str:
        """Read the same as a page with pictures (HTML)."""
        return str(self._link.ask("/reports/bench-agreement", accept="text/html", **call).content)

    def bench_agreement_table(self, table: str, **call: Unpack[CallOptions]) -> str:
        """Read one of its tables as CSV: studies, readings, repeats or checks."""
        return str(self._link.ask("/reports/bench-agreement", accept="text/csv", table=table, **call).content)

    def calibration(self, **period: Unpack[PeriodOptions]) -> Calibration:
        """Read how often readings fell inside what was stated before, and how much tools scatter."""
        return read(Calibration, self._link.ask("/reports/calibration", **period))

    def calibration_page(self, **period: Unpack[PeriodOptions]) -> str:
        """Read the same as a page with pictures (HTML)."""
        return str(self._link.ask("/reports/calibration", accept="text/html", **period).content)

    def calibration_table(self, table: str, **period: Unpack[PeriodOptions]) -> str:
        """Read one of its tables as CSV: coverage, scatter or forecasts."""
        return str(self._link.ask("/reports/calibration", accept="text/csv", table=table, **period).content)

    def calibration_tables(self, **period: Unpack[PeriodOptions]) -> bytes:
        """Read all its tables as a zip of CSV files."""
        return _bytes(self._link.ask("/reports/calibration", accept="application/zip", **period), "a zip")


def _of(model: Stored | UUID | str) -> str:
    return f"/reports/instrument-models/{id_of(model)}"


def _reports(run: ReportRun | UUID | str) -> str:
    return f"/reports/runs/{id_of(run)}/reports"


class Studies(studies.Studies):
    """Guided studies of whether the benches measure the same."""

    def next(self, study: Study | UUID | str, reader: int, **call: Unpack[CallOptions]) -> NextReading | None:
        """Read what a reader, counted from 0, takes next; None when it is through."""
        answer = self._link.ask(f"{self._one(study)}/next", reader=reader, **call)
        return None if answer.content is None else read(NextReading, answer)

    def take(
        self, study: Study | UUID | str, number: int, value: Quantity, **more: Unpack[StudyReadingFields]
    ) -> NextReading | None:
        """Take the reading that is next; what comes after it is returned.

        `confirmed=True` says of a value that is hardly plausible that it was looked at twice. Under the same
        `id`, made here when none is given, it is taken once.
        """
        told, call = apart(more)
        body = {"id": uuid7(), "number": number, "value": value, **told}
        answer = self._link.change("POST", f"{self._one(study)}/readings", body, **call).object()
        following = answer.get("next")
        return NextReading.from_wire(following) if isinstance(following, dict) else None

    def end(
        self,
        study: Study | UUID | str,
        *,
        abandon: bool = False,
        as_it_stands: bool = False,
        **call: Unpack[WriteOptions],
    ) -> Study:
        """End a study, judge only what of it is complete, or give it up."""
        body = {"abandon": abandon, "as_it_stands": as_it_stands}
        return read(Study, self._link.change("POST", f"{self._one(study)}/end", body, **call))

    def agreement(self, study: Study | UUID | str, **call: Unpack[CallOptions]) -> StudyAgreement:
        """Read what an ended study says."""
        return read(StudyAgreement, self._link.ask(f"{self._one(study)}/agreement", **call))


class CheckPieces(check_pieces.CheckPieces):
    """Things that a bench reads every day."""

    def check(
        self, piece: CheckPiece | UUID | str, values: Sequence[Quantity], **more: Unpack[CheckFields]
    ) -> CheckReading:
        """Keep a day's check; its verdict is in the answer.

        `confirmed=True` says of values that are hardly plausible that they were looked at twice. Under the
        same `id`, made here when none is given, it is kept once.
        """
        told, call = apart(more)
        body = {"id": uuid7(), "values": [*values], **told}
        return read(CheckReading, self._link.change("POST", f"{self._one(piece)}/readings", body, **call))

    def checks(
        self, piece: CheckPiece | UUID | str, **filters: Unpack[CheckPiecesReadingsFilters]
    ) -> Iterator[CheckReading]:
        """Walk the checks of a piece, the newest first."""
        return self._link.walk(f"{self._one(piece)}/readings", CheckReading, **filters)


class Transfers:
    """Everything that the shop owns as open files, and readings from before the service."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def export(self, **call: Unpack[CallOptions]) -> bytes:
        """Read everything as a zip: JSON lines a table with a manifest, and all readings as CSV."""
        return _bytes(self._link.ask("/exports", accept="application/zip", **call), "a zip")

    def import_readings(
        self, csv: str, *, dry_run: bool = True, **call: Unpack[WriteOptions]
    ) -> ReadingsImport:
        """Import readings from the text of a CSV file; by default only look for problems."""
        body = {"csv": csv, "dry_run": dry_run}
        answer = self._link.change("POST", "/imports/readings", body, **call)
        return read(ReadingsImport, answer)


def _bytes(answer: Answer, what: str) -> bytes:
    if not isinstance(answer.content, bytes):
        raise BadAnswer(f"{what} was expected; is this address the service?", request_id=answer.request_id)
    return answer.content

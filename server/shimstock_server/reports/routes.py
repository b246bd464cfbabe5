"""Batch reports over HTTP: data, tables or a page, as `Accept` asks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.learning import ReportRun, ReportRunPart
from shimstock_server.shop import ShopNotSetUp, settings
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.paging import page as page_of_rows
from shimstock_server.web.visibility import exists, visibility

from . import schemas
from .content import model_report
from .forms import CSV, HTML, JSON, PDF, TYPES, as_page, in_form
from .page import page
from .paper import paper
from .period import period_of
from .ranking import ranked_models, waiting_jobs
from .ranking_page import ranking_page, ranking_table
from .runs import begin_run, show_run
from .tables import Report, table
from .telling import as_data, kept, ranked

blueprint = Blueprint("reports", "Batch reports by instrument model, and long ones made by the worker")
BENCH = ("bench", "manager")

visibility("run_id", exists(ReportRun.id))


@blueprint.operation(
    "GET", "/reports/instrument-models", scopes=BENCH, query=schemas.RankingQuery, answer=schemas.RankingOut,
    types=(JSON, HTML, CSV), conflicts=(ShopNotSetUp,),
)  # fmt: skip
def get_ranking(query: dict[str, Any]) -> Answer:
    """Rank the models by what a job on them costs: bench minutes at the shop's rate, and parts.

    Jobs count on the day on which they were ready. While a worker runs, the figures are at most some seconds
    behind; `waiting` tells how many jobs are not counted yet. `Accept` chooses: data, a page, or CSV.
    """
    shop = settings(current.session)
    period = period_of(query, shop, current.now)
    rows = ranked_models(
        current.session,
        shop,
        period,
        maker=query.get("maker"),
        kind=query.get("kind"),
        limit=query["limit"],
    )
    if current.media_type == CSV:
        return Answer(text=ranking_table(rows, shop.currency), media_type=CSV)
    by_cost, waiting = shop.shop_rate is not None, waiting_jobs(current.session)
    if current.media_type == HTML:
        return as_page(
            ranking_page(
                rows,
                period=period,
                currency=shop.currency,
                by_cost=by_cost,
                waiting=waiting,
                units=current.units,
            )
        )
    return Answer(
        {
            "period": period,
            "currency": shop.currency,
            "ranked_by": "cost" if by_cost else "bench-minutes",
            "waiting": waiting,
            "items": [ranked(row) for row in rows],
        }
    )


@blueprint.operation(
    "GET", "/reports/instrument-models/<uuid:model_id>", scopes=BENCH, query=schemas.ModelReportQuery,
    answer=schemas.ModelReportOut, types=(*TYPES, PDF), conflicts=(ShopNotSetUp,),
)  # fmt: skip
def get_model_report(model_id: UUID, query: dict[str, Any]) -> Answer:
    """Read all that the shop knows of a model in a period: data, a page with pictures, or CSV.

    `Accept` chooses: `application/json`, `text/html`, `application/pdf`, `text/csv` with `table`, or
    `application/zip` for all tables. What changed since the worker counted is counted now: the answer is
    never behind the readings.
    """
    shop = settings(current.session)
    model = current.session.get_one(InstrumentModel, model_id)
    report = model_report(current.session, model, shop, period_of(query, shop, current.now))
    shown = _in_form([report], query)
    if current.media_type == PDF:
        return Answer(text=paper(report, current.units), media_type=PDF)
    return shown or Answer(as_data(report))


@blueprint.operation(
    "POST", "/reports/runs", scopes=BENCH, body=schemas.ReportRunIn, answer=schemas.ReportRunOut, status=201,
    writes=True, creates="key", conflicts=(ShopNotSetUp,),
)  # fmt: skip
def post_report_run(body: dict[str, Any]) -> Answer:
    """Have a long report made: the same as for one model, for all of them, a maker's or a kind's."""
    period = period_of(body, settings(current.session), current.now, where="")
    run = begin_run(current.session, period, maker=body["maker"], kind=body["kind"])
    return Answer(show_run(run), location=f"/v1/reports/runs/{run.id}")


@blueprint.operation(
    "GET", "/reports/runs", scopes=BENCH, query=schemas.ReportRunQuery, answer=schemas.ReportRunPage
)
def get_report_runs(query: dict[str, Any]) -> Answer:
    """List the long reports, the newest first."""
    wanted = select(ReportRun)
    if query.get("state") is not None:
        wanted = wanted.where(ReportRun.state == query["state"])
    return page_of_rows(
        wanted, query, sort=(ReportRun.created_at, ReportRun.id), descending=True, show=show_run
    )


@blueprint.operation("GET", "/reports/runs/<uuid:run_id>", scopes=BENCH, answer=schemas.ReportRunOut)
def get_report_run(run_id: UUID) -> dict[str, Any]:
    """Read how far a long report is."""
    return show_run(current.session.get_one(ReportRun, run_id))


@blueprint.operation(
    "GET", "/reports/runs/<uuid:run_id>/reports", scopes=BENCH, query=schemas.RunReportsQuery,
    answer=schemas.ModelReportPage, types=TYPES,
)  # fmt: skip
def get_run_reports(run_id: UUID, query: dict[str, Any]) -> Answer:
    """Read the models of a long report that are done: page by page as data, or all of them as page or CSV."""
    wanted = select(ReportRunPart).where(ReportRunPart.run_id == run_id)
    parts = (
        current.session.scalars(wanted.order_by(ReportRunPart.number)) if current.media_type != JSON else ()
    )
    shown = _in_form([kept(part.content) for part in parts], query)
    return shown or page_of_rows(
        wanted,
        query,
        sort=(ReportRunPart.number, ReportRunPart.model_id),
        show=lambda part: as_data(kept(part.content)),
    )


def _in_form(reports: Sequence[Report], query: dict[str, Any]) -> Answer | None:
    units = current.units
    return in_form(
        query, schemas.TABLES, lambda name: table(name, reports, units), lambda: page(reports, units)
    )

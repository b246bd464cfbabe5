"""Do the benches measure the same thing, and do they still: data, tables or a page, as `Accept` asks."""

from __future__ import annotations

from datetime import date
from typing import Any

from shimstock_server.learning import bench_standings, newest_checks, newest_studies
from shimstock_server.shop import ShopNotSetUp, local_day
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.problems import InvalidFields

from . import agreement_schemas as schemas
from .agreement_page import agreement_page
from .agreement_tables import HEADERS, all_tables, table
from .page import security_policy

blueprint = Blueprint("bench-agreement", "How the benches stand: studies, check pieces, and who drifts")
JSON, HTML, CSV, ZIP = "application/json", "text/html", "text/csv", "application/zip"


@blueprint.operation(
    "GET", "/reports/bench-agreement", scopes=("bench", "manager"), query=schemas.BenchAgreementReportQuery,
    answer=schemas.BenchAgreementOut, types=(JSON, HTML, CSV, ZIP),
)  # fmt: skip
def get_bench_agreement(query: dict[str, Any]) -> Answer:
    """Read whether the benches measure the same: the newest study of each quantity, and who drifts.

    `Accept` chooses: `application/json`, `text/html`, `text/csv` with `table`, or `application/zip` for all
    tables.
    """
    report = _report()
    name = query.get("table")
    if current.media_type == CSV:
        if name is None:
            told = ", ".join(HEADERS)
            raise InvalidFields.at("/query/table", f"name one of {told}; `Accept: application/zip` has all")
        return Answer(text=table(name, report, current.units), media_type=CSV)
    if name is not None:
        raise InvalidFields.at("/query/table", "only a CSV has tables: ask for `Accept: text/csv`")
    if current.media_type == ZIP:
        return Answer(text=all_tables(report, current.units), media_type=ZIP)
    if current.media_type == HTML:
        return Answer(
            text=agreement_page(report, current.units),
            media_type=HTML,
            headers={"Content-Security-Policy": security_policy()},
        )
    return Answer(report)


def _today() -> date:
    """The shop's day; before it is set up nobody has checked anything."""
    try:
        return local_day(current.session, current.now)
    except ShopNotSetUp:
        return current.now.date()


def _report() -> dict[str, Any]:
    session = current.session
    today = _today()
    benches = bench_standings(session)
    for bench in benches:
        bench["checked_today"] = bench["checked_on"] == today
        if current.media_type != JSON:
            for piece in bench["pieces"]:
                piece["checks"] = newest_checks(session, piece["id"], piece["quantity"])
    studies = newest_studies(session, current.units)
    for study in studies:
        anova = study["methods"][0]
        study |= {name: anova[name] for name in ("percent_of_total", "percent_of_tolerance")}
    return {"studies": studies, "benches": benches, "day": today}

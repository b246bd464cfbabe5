"""Do the benches measure the same thing, and do they still: data, tables or a page, as `Accept` asks."""

from __future__ import annotations

from datetime import date
from typing import Any

from shimstock_server.learning import bench_standings, newest_checks, newest_studies
from shimstock_server.shop import ShopNotSetUp, local_day
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current

from . import agreement_schemas as schemas
from .agreement_page import agreement_page
from .agreement_tables import HEADERS, table
from .forms import JSON, TYPES, in_form

blueprint = Blueprint("bench-agreement", "How the benches stand: studies, check pieces, and who drifts")


@blueprint.operation(
    "GET", "/reports/bench-agreement", scopes=("bench", "manager"), query=schemas.BenchAgreementReportQuery,
    answer=schemas.BenchAgreementOut, types=TYPES,
)  # fmt: skip
def get_bench_agreement(query: dict[str, Any]) -> Answer:
    """Read whether the benches measure the same: the newest study of each quantity, and who drifts.

    `Accept` chooses: `application/json`, `text/html`, `text/csv` with `table`, or `application/zip` for all
    tables.
    """
    report, units = _report(), current.units
    shown = in_form(
        query, HEADERS, lambda name: table(name, report, units), lambda: agreement_page(report, units)
    )
    return shown or Answer(report)


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

"""The ranking of the models as a page and as a table."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from shimstock_server.web.csv_text import write_csv
from shimstock_server.web.html import templates
from shimstock_server.web.quantities import write
from shimstock_server.web.svg import element, written

from .axes import EDGE, PALE, rectangle
from .content import Period
from .page import NONE, days, money, percent, stylesheet
from .tables import number

HEADER = (
    "rank", "model_id", "maker", "model", "kind", "jobs", "came_back", "bench_minutes_mean",
    "bench_minutes_total", "turnaround_hours_mean", "parts_mean", "cost_mean", "currency", "received_in_spec",
    "returned_in_spec",
)  # fmt: skip
BAR = 72.0


def ranking_table(rows: Sequence[dict[str, Any]], currency: str) -> str:
    """Return the ranking as CSV."""
    return write_csv(HEADER, ([_cell(row, name, currency) for name in HEADER] for row in rows))


def _cell(row: dict[str, Any], name: str, currency: str) -> Any:
    if name == "currency":
        return currency
    value = row[{"model": "name"}.get(name, name)]
    if name == "bench_minutes_mean":
        return number("duration", value, "mm")
    return str(value) if name in ("model_id", "kind") else value


def ranking_page(
    rows: Sequence[dict[str, Any]], *, period: Period, currency: str, by_cost: bool, waiting: int, units: str
) -> str:
    """Return the ranking as an HTML page."""
    name = "cost_mean" if by_cost else "bench_minutes_mean"
    most = max((row[name] for row in rows), default=0.0)
    return templates(__package__).get_template("ranking.html").render(
        style=Markup(stylesheet()),  # noqa: S704 - our own file
        period=period,
        by_cost=by_cost,
        waiting=waiting,
        rows=[_row(row, row[name] / most if most else 0.0, currency, units) for row in rows],
    )  # fmt: skip


def _row(row: dict[str, Any], share: float, currency: str, units: str) -> dict[str, Any]:
    return {
        "rank": row["rank"],
        "name": f"{row['maker']} {row['name']}",
        "kind": row["kind"].value.replace("-", " "),
        "bar": Markup(_bar(share)),  # noqa: S704 - numbers alone
        "cost": money(row["cost_mean"], currency),
        "minutes": write("duration", row["bench_minutes_mean"], units),
        "parts": money(row["parts_mean"], currency),
        "jobs": row["jobs"],
        "back": f"{row['came_back']} ({percent(row['came_back'] / row['jobs'])})" if row["jobs"] else NONE,
        "turnaround": days(row["turnaround_hours_mean"]),
        "received": percent(row["received_in_spec"]),
        "returned": percent(row["returned_in_spec"]),
    }


def _bar(share: float) -> str:
    root = element(None, "svg", viewBox=f"0 0 {BAR:g} 10", width=f"{BAR:g}", height="10", aria_hidden="true")
    rectangle(root, 0.5, 0.5, 0.5 + (BAR - 1.0) * share, 9.5, fill=PALE, stroke=EDGE)
    return written(root)

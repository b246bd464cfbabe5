"""The report on forecasts as one page: no script, nothing fetched; drawings stand in the page itself."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from shimstock_server.web.html import templates

from .calibration_plots import legend, shares_panel
from .page import NONE, percent, stylesheet
from .tables import Report

HEADINGS = {"all": "", "quantity": "By quantity", "tool": "By tool", "bench": "By bench", "model": "By model"}
MOST_PANELS = 12
"""Pictures below a heading: those with most readings; the table has all."""


def calibration_page(report: Report) -> str:
    """Return the report on forecasts as an HTML page."""
    return (
        templates(__package__)
        .get_template("calibration.html")
        .render(
            style=Markup(stylesheet()),  # noqa: S704 - our own file
            period=report["period"],
            legend=[(Markup(mark), word) for mark, word in legend()],  # noqa: S704
            sections=[section for by in HEADINGS if (section := _section(report, by))["rows"]],
            noises=[each["words"] for each in report["noises"]],
        )
    )


def _section(report: Report, by: str) -> dict[str, Any]:
    groups = [group for group in report["groups"] if group["by"] == by]
    return {
        "heading": HEADINGS[by],
        "column": "which" if by == "all" else by,
        "panels": [Markup(shares_panel(group)) for group in groups[:MOST_PANELS]],  # noqa: S704
        "rows": [_row(group, doubtful) for group in groups for doubtful in (False, True)
                 if group["doubtful" if doubtful else "shares"]],
    }  # fmt: skip


def _row(group: dict[str, Any], doubtful: bool) -> dict[str, Any]:
    shares = group["doubtful" if doubtful else "shares"]
    return {
        "name": group["name"],
        "small": "doubtful" if doubtful else "",
        "count": str(shares[0]["of"]) if shares else NONE,
        "shares": [
            f"{percent(share['seen'])} ({100.0 * share['lower']:.0f} … {100.0 * share['upper']:.0f})"
            for share in shares
        ],
    }

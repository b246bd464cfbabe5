"""The report on the benches as one page: no script, nothing fetched; drawings stand in the page itself."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from shimstock_server.web.html import templates

from .agreement_plots import MOST_NAMES, check_panel, study_panels
from .page import exactly, stylesheet
from .tables import Report

METHODS = {"anova": "analysis of variance", "average-range": "averages and ranges"}


def agreement_page(report: Report, units: str) -> str:
    """Return the report on the benches as an HTML page."""
    return (
        templates(__package__)
        .get_template("bench_agreement.html")
        .render(
            style=Markup(stylesheet()),  # noqa: S704 - our own file
            day=report["day"],
            studies=[_study(study, units) for study in report["studies"]],
            benches=[_bench(bench, units) for bench in report["benches"]],
        )
    )


def _percent(value: float | None) -> str:
    return "–" if value is None else f"{value:.1f} %"


def _spoken(quantity: Any) -> str:
    return str(getattr(quantity, "value", quantity)).replace("-", " ")


def _study(study: dict[str, Any], units: str) -> dict[str, Any]:
    def said(value: float) -> str:
        return exactly(study["kind"], value, units)

    return {
        "name": study["name"],
        "quantity": _spoken(study["quantity"]),
        "day": study["ended_at"].date(),
        "words": study["words"],
        "panels": [Markup(panel) for panel in study_panels(study, units)],  # noqa: S704 - escaped there
        "numbered": len(study["piece_names"]) > MOST_NAMES,
        "pieces": study["piece_names"],
        "methods": [
            {
                "name": METHODS[method["method"]],
                "repeatability": said(method["repeatability"]),
                "reproducibility": said(method["reproducibility"]),
                "pieces": said(method["pieces"]),
                "of_total": _percent(method["percent_of_total"]),
                "of_tolerance": _percent(method["percent_of_tolerance"]),
                "classes": "–" if method["classes"] is None else str(method["classes"]),
            }
            for method in study["methods"]
        ],
    }


def _bench(bench: dict[str, Any], units: str) -> dict[str, Any]:
    return {
        "name": bench["name"],
        "state": _state(bench),
        "repeats": [
            {
                "quantity": _spoken(each["quantity"]),
                "tool": each["tool"] or "no tool named",
                "repeatability": exactly(each["kind"], each["repeatability"], units),
                "difference": exactly(each["kind"], each["difference"], units, signed=True),
                "study": each["study"],
            }
            for each in bench["repeats"]
        ],
        "pieces": [_piece(piece, units) for piece in bench["pieces"]],
    }


def _state(bench: dict[str, Any]) -> str:
    if not bench["pieces"]:
        return "No check piece yet."
    if bench["checked_on"] is None:
        return "Not checked yet."
    when = "Checked today" if bench["checked_today"] else f"Last checked on {bench['checked_on']}"
    told = [
        f"it {words}: {', '.join(names)}"
        for words, name in (("drifts", "drifting"), ("repeats badly", "repeats_badly"))
        if (names := [piece["name"] for piece in bench["pieces"] if piece[name]])
    ]
    return "; ".join([when, *(told or ["no drift"])]) + "."


def _piece(piece: dict[str, Any], units: str) -> dict[str, Any]:
    panel = check_panel(piece, units)
    newest, limits = piece["newest"], piece["limits"]
    said = "not read yet"
    if newest is not None:
        said = f"{exactly(piece['kind'], newest['mean'], units)} on {newest['day']}: {newest['verdict']}"
    return {
        "name": piece["name"],
        "quantity": _spoken(piece["quantity"]),
        "newest": said,
        "limits": f"{piece['days_to_limits']} more days until there are limits"
        if limits is None
        else f"limits {exactly(piece['kind'], limits['lower'], units)} … "
        f"{exactly(piece['kind'], limits['upper'], units)}, from {limits['days']} days",
        "panel": "" if panel is None else Markup(panel),  # noqa: S704 - escaped there
    }

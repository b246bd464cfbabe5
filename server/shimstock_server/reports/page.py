"""Reports as one page: no script, nothing fetched; pictures stand in the page itself."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from functools import lru_cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from shimstock_server.web.quantities import write

from .plots import name_of, pictures
from .tables import Report

STAGES = {
    "as-received": "as received",
    "in-progress": "in progress",
    "final": "final",
    "recheck": "recheck",
    "kept": "final, did not come back",
}


@lru_cache(maxsize=1)
def _stylesheet() -> str:
    return (files(__package__) / "templates" / "report.css").read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def security_policy() -> str:
    """Return the Content-Security-Policy of the page: its own stylesheet, and pictures that it holds."""
    digest = base64.b64encode(hashlib.sha256(_stylesheet().encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    )


@lru_cache(maxsize=1)
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader(__package__, "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page(reports: Sequence[Report], units: str) -> str:
    """Return reports as an HTML page."""
    return (
        _templates()
        .get_template("report.html")
        .render(
            style=Markup(_stylesheet()),  # noqa: S704 - our own file
            reports=[_shown(report, units) for report in reports],
        )
    )


def _shown(report: Report, units: str) -> dict[str, Any]:
    def told(kind: str, value: float | None) -> str:
        return "–" if value is None else write(kind, value, units)

    def percent(value: float | None) -> str:
        return "–" if value is None else f"{100 * value:.0f} %"

    jobs = report["jobs"]
    hours = jobs["turnaround_hours"]["median"]
    return {
        "report": report,
        "pictures": [
            {
                "heading": heading,
                "told": text,
                "source": "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode(),
            }
            for heading, text, svg in pictures(report, units)
        ],
        "facts": [
            ("jobs done", str(jobs["count"])),
            ("came back within 90 days", str(jobs["came_back"])),
            ("in spec as received", percent(report["received"]["share_in_spec"])),
            ("in spec as returned", percent(report["returned"]["share_in_spec"])),
            ("bench minutes a job", told("duration", jobs["bench_minutes"]["mean"])),
            ("turnaround, median", "–" if hours is None else f"{hours / 24:.1f} days"),
            ("restrung", str(jobs["restrung"])),
            (
                "cost a job",
                "–" if jobs["cost_mean"] is None else f"{jobs['cost_mean']:.2f} {report['currency']}",
            ),
        ],
        "rows": [
            {
                "name": name_of(each),
                "frets": each["frets"],
                "stage": STAGES[stage["stage"]],
                "count": stage["count"] + stage["zero_or_less"],
                "median": told(each["kind"], stage["quantiles"]["median"]),
                "range": f"{told(each['kind'], stage['quantiles']['p10'])} … "
                f"{told(each['kind'], stage['quantiles']['p90'])}"
                if stage["count"]
                else "–",
                "share": percent(stage["share_in_spec"]),
                "cpk": "–"
                if stage["capability"] is None
                else "{index:.2f} ({lower:.2f} … {upper:.2f})".format(**stage["capability"]),
            }
            for each in report["quantities"]
            for stage in each["stages"]
            if stage["stage"] in ("as-received", "final")
        ],
        "suggestions": [
            {
                "name": name_of(each),
                "frets": each["frets"],
                "now": "–"
                if each["spec"] is None
                else f"{told(each['kind'], each['spec']['target'])}, "
                f"{told(each['kind'], each['spec']['lower'])} … {told(each['kind'], each['spec']['upper'])}",
                "suggested": f"{told(each['kind'], each['suggestion']['target'])}, "
                f"{told(each['kind'], each['suggestion']['lower'])} … "
                f"{told(each['kind'], each['suggestion']['upper'])}",
                "readings": each["suggestion"]["readings"],
            }
            for each in report["quantities"]
            if each["suggestion"] is not None
        ],
        "steps": [
            {
                "name": each["name"].replace("-", " "),
                "jobs": each["jobs"],
                "share": percent(each["per_job"]),
                "way": "–"
                if each["way_mean"] is None or each["unit_kind"] is None
                else told(each["unit_kind"], each["way_mean"]),
            }
            for each in report["steps"]
        ],
        "findings": [
            {"name": each["name"].replace("-", " "), "jobs": each["jobs"], "share": percent(each["per_job"])}
            for each in report["findings"]
        ],
    }

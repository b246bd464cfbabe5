"""Reports as one page: no script, nothing fetched; drawings stand in the page itself."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from importlib.resources import files
from typing import Any

from markupsafe import Markup

from shimstock_server.web.html import content_policy, templates
from shimstock_server.web.quantities import to_unit, write

from .chosen import ENDS, name_of, stage_of, unit_of
from .panels import legend, sections
from .tables import Report

NONE = "–"


@lru_cache(maxsize=1)
def stylesheet() -> str:
    """The one stylesheet of the reports."""
    return (files(__package__) / "templates" / "report.css").read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def security_policy() -> str:
    """Return the Content-Security-Policy of a page: its own stylesheet, and nothing else."""
    return content_policy(stylesheet())


def page(reports: Sequence[Report], units: str) -> str:
    """Return reports as an HTML page."""
    return (
        templates(__package__)
        .get_template("report.html")
        .render(
            style=Markup(stylesheet()),  # noqa: S704 - our own file
            reports=[_shown(report, units) for report in reports],
        )
    )


def _shown(report: Report, units: str) -> dict[str, Any]:
    return {
        "report": report,
        "sections": [
            {
                "heading": section.heading,
                "says": section.says,
                "legend": [(Markup(mark), word) for mark, word in legend(section.legend)],  # noqa: S704
                "drawings": [Markup(drawing) for drawing in section.drawings],  # noqa: S704 - escaped there
            }
            for section in sections(report, units)
        ],
        "facts": facts(report, units),
        "rows": [row_of(each, units) for each in report["quantities"]],
        "suggestions": [
            _suggestion(each, units) for each in report["quantities"] if each["suggestion"] is not None
        ],
        "steps": [doing(each, units) for each in report["steps"]],
        "findings": [doing(each, units) for each in report["findings"]],
    }


def facts(report: Report, units: str) -> list[tuple[str, str]]:
    """The report's chief figures, each with its name."""
    jobs = report["jobs"]
    hours = jobs["turnaround_hours"]["median"]
    minutes, cost = jobs["bench_minutes"]["mean"], jobs["cost_mean"]
    return [
        ("jobs done", str(jobs["count"])),
        ("came back within 90 days", _of(jobs["came_back"], jobs["count"])),
        ("in spec as received", percent(report["received"]["share_in_spec"])),
        ("in spec as returned", percent(report["returned"]["share_in_spec"])),
        ("bench minutes a job", NONE if minutes is None else write("duration", minutes, units)),
        ("turnaround, median", days(hours)),
        ("got new strings", _of(jobs["restrung"], jobs["count"])),
        ("got another gauge", _of(jobs["gauge_changed"], jobs["count"])),
        ("parts a job", money(jobs["parts_mean"], report["currency"])),
        ("cost a job", money(cost, report["currency"])),
    ]


def percent(share: float | None) -> str:
    """A share as people read it."""
    return NONE if share is None else f"{100.0 * share:.0f} %"


def days(hours: float | None) -> str:
    """A turnaround in days, to a tenth."""
    return NONE if hours is None else f"{hours / 24.0:.1f} days"


def exactly(kind: str, value: float, units: str, *, signed: bool = False) -> str:
    """A value as finely as data tell it: benches differ by less than the last place of a reading."""
    told = to_unit(kind, value, units)
    text = f"{told['value']:{'+' if signed else ''}g}".replace("-", "\N{MINUS SIGN}")
    return text + ("/64 in" if told["unit"] == "in/64" else f" {unit_of(kind, units)}")


def _of(some: int, whole: int) -> str:
    return f"{some} ({percent(some / whole)})" if whole else str(some)


def money(amount: float | None, currency: str) -> str:
    """An amount in the shop's currency."""
    return NONE if amount is None else f"{amount:.2f} {currency}"


def _bare(kind: str, value: float | None, units: str) -> str:
    """A value without its unit, which stands beside the quantity's name."""
    if value is None:
        return NONE
    text = write(kind, value, units)
    return text.split("/")[0] if text.endswith("/64 in") else text.split(" ")[0]


def _between(kind: str, low: float | None, high: float | None, units: str) -> str:
    if low is None and high is None:
        return NONE
    if low is None:
        return f"at most {_bare(kind, high, units)}"
    if high is None:
        return f"at least {_bare(kind, low, units)}"
    return f"{_bare(kind, low, units)} … {_bare(kind, high, units)}"


def row_of(each: dict[str, Any], units: str) -> dict[str, Any]:
    """A place with its readings at both ends."""
    return named(each, units) | {
        "ends": [_end(each, stage_of(each, end), units) for end in ENDS],
        "spec": NONE if each["spec"] is None else _between(
            each["kind"], each["spec"]["lower"], each["spec"]["upper"], units
        ),
    }  # fmt: skip


def named(each: dict[str, Any], units: str) -> dict[str, str]:
    """The name of a place, and where and in which unit it was read."""
    small = " · ".join(part for part in (each["frets"], unit_of(each["kind"], units)) if part)
    return {"name": name_of(each).replace("string ", "string\N{NO-BREAK SPACE}"), "small": small}


def _end(each: dict[str, Any], stage: dict[str, Any] | None, units: str) -> dict[str, str]:
    if stage is None:
        return dict.fromkeys(("count", "median", "range", "share", "cpk"), NONE)
    held, shares = stage["capability"], stage["quantiles"]
    return {
        "count": str(stage["count"] + stage["zero_or_less"]),
        "median": _bare(each["kind"], shares["median"], units),
        "range": _between(each["kind"], shares["p10"], shares["p90"], units),
        "share": percent(stage["share_in_spec"]),
        "cpk": NONE
        if held is None
        else f"{held['index']:z.2f} ({held['lower']:z.2f} … {held['upper']:z.2f})",
    }


def _suggestion(each: dict[str, Any], units: str) -> dict[str, str]:
    spec, suggested, kind = each["spec"], each["suggestion"], each["kind"]

    def told(item: dict[str, Any]) -> str:
        target = _bare(kind, item["target"], units)
        return f"{target} ({_between(kind, item['lower'], item['upper'], units)})"

    return named(each, units) | {
        "now": NONE if spec is None else told(spec),
        "suggested": told(suggested),
        "readings": str(suggested["readings"]),
    }


def doing(each: dict[str, Any], units: str) -> dict[str, str]:
    """A step or a finding: in how many jobs, and how far each time."""
    way, kind = each["way_mean"], each["unit_kind"]
    return {
        "name": each["name"].replace("-", " "),
        "jobs": str(each["jobs"]),
        "share": percent(each["per_job"]),
        "count": str(each["count"]),
        "way": NONE if way is None or kind is None else write(kind, way, units),
    }

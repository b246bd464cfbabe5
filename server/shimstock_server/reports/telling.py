"""A report as its schema dumps it."""

from __future__ import annotations

from datetime import date
from typing import Any

Report = dict[str, Any]


def as_data(report: Report) -> Report:
    """Return a report with its times as quantities."""
    jobs = report["jobs"]
    days = {name: None if hours is None else hours / 24.0 for name, hours in jobs["turnaround_hours"].items()}
    told = {name: value for name, value in jobs.items() if name != "turnaround_hours"}
    told["bench_minutes"] = jobs["bench_minutes"] | {"kind": "duration"}
    told["turnaround"] = days | {"kind": "period"}
    tallies = {
        what: [each | {"unit_kind": each["unit_kind"] or "turns"} for each in report[what]]
        for what in ("steps", "findings")
    }
    return report | {"jobs": told} | tallies


def ranked(row: Report) -> Report:
    """Return a row of the ranking with its time as a quantity."""
    told = {name: value for name, value in row.items() if name != "turnaround_hours_mean"}
    return told | {"turnaround_mean": row["turnaround_hours_mean"] / 24.0}


def to_keep(report: Report) -> Report:
    """Return a report that JSON can keep."""
    period = report["period"]
    days = {name: period[name].isoformat() for name in ("first", "last")}
    return report | {"period": period | days}


def kept(report: Report) -> Report:
    """Return a report as it was before it was kept."""
    period = report["period"]
    days = {name: date.fromisoformat(period[name]) for name in ("first", "last")}
    return report | {"period": period | days}

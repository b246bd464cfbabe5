"""The report on forecasts as tidy tables: one row an observation, told in the reader's units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from shimstock_server.web.csv_text import write_csv

from .tables import Report, number, unit

HEADERS: dict[str, tuple[str, ...]] = {
    "coverage": ("by", "id", "name", "doubtful", "stated", "inside", "of", "seen", "lower", "upper"),
    "scatter": ("bench", "tool", "factor", "readings"),
    "forecasts": (
        "taken_at", "job", "maker", "model", "bench", "tool", "sheet_id", "number", "quantity", "side",
        "string", "pickup", "unit", "expected", "spread", "read", "distance", "doubtful",
    ),
}  # fmt: skip


def table(name: str, report: Report, units: str) -> str:
    """Return one table of the report as CSV."""
    rows = {"coverage": _coverage, "scatter": _scatter, "forecasts": _forecasts}[name]
    return write_csv(HEADERS[name], rows(report, units))


def _coverage(report: Report, _units: str) -> Iterator[tuple[Any, ...]]:
    for group in report["groups"]:
        for doubtful in (False, True):
            for share in group["doubtful" if doubtful else "shares"]:
                key = None if group["id"] is None else str(group["id"])
                yield (group["by"], key, group["name"], doubtful, *share.values())


def _scatter(report: Report, _units: str) -> Iterator[tuple[Any, ...]]:
    for each in report["noises"]:
        yield each["bench"], each["tool"], each["factor"], each["readings"]


def _forecasts(report: Report, units: str) -> Iterator[tuple[Any, ...]]:
    for each in report["forecasts"]:
        kind = each["kind"]
        yield (
            each["taken_at"].isoformat(),
            *(each[name] for name in ("job", "maker", "model", "bench", "tool")),
            str(each["sheet_id"]),
            each["number"],
            each["quantity"].value,
            None if each["side"] is None else each["side"].value,
            each["string"],
            each["pickup"],
            unit(kind, units),
            *(number(kind, each[name], units) for name in ("expected", "spread", "value")),
            round(each["distance"], 4),
            each["doubtful"],
        )

"""The report on the benches as tidy tables: one row an observation, told in the reader's units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from shimstock_server.web.csv_text import write_csv

from .tables import Report, number, unit

STUDY = ("study_id", "study", "quantity")

HEADERS: dict[str, tuple[str, ...]] = {
    "studies": (
        *STUDY, "ended_at", "method", "unit", "repeatability", "reproducibility", "agreement", "pieces",
        "total", "percent_of_total", "percent_of_tolerance", "classes",
    ),
    "readings": (*STUDY, "piece", "reader", "trial", "unit", "value", "judged"),
    "repeats": (
        "bench", "quantity", "tool", "unit", "repeatability", "difference", "study", "found_at",
    ),
    "checks": (
        "bench", "check_piece_id", "check_piece", "quantity", "day", "taken_at", "unit", "mean", "deviation",
        "verdict", "limits_mean", "limits_lower", "limits_upper", "spread_upper",
    ),
}  # fmt: skip


def table(name: str, report: Report, units: str) -> str:
    """Return one table of the report as CSV."""
    rows = {"studies": _studies, "readings": _readings, "repeats": _repeats, "checks": _checks}[name]
    return write_csv(HEADERS[name], rows(report, units))


def _study(study: dict[str, Any]) -> tuple[Any, ...]:
    return str(study["study_id"]), study["name"], study["quantity"].value


def _studies(report: Report, units: str) -> Iterator[tuple[Any, ...]]:
    parts = ("repeatability", "reproducibility", "agreement", "pieces", "total")
    for study in report["studies"]:
        kind = study["kind"]
        for method in study["methods"]:
            yield (
                *_study(study),
                study["ended_at"].isoformat(),
                method["method"],
                unit(kind, units),
                *(number(kind, method[part], units) for part in parts),
                method["percent_of_total"],
                method["percent_of_tolerance"],
                method["classes"],
            )


def _readings(report: Report, units: str) -> Iterator[tuple[Any, ...]]:
    for study in report["studies"]:
        kind = study["kind"]
        for reading in study["readings"]:
            yield (
                *_study(study),
                study["piece_names"][reading["piece"]],
                study["reader_names"][reading["reader"]],
                reading["trial"],
                unit(kind, units),
                number(kind, reading["value"], units),
                reading["judged"],
            )


def _repeats(report: Report, units: str) -> Iterator[tuple[Any, ...]]:
    for bench in report["benches"]:
        for each in bench["repeats"]:
            yield (
                bench["name"],
                each["quantity"],
                each["tool"],
                unit(each["kind"], units),
                number(each["kind"], each["repeatability"], units),
                number(each["kind"], each["difference"], units),
                each["study"],
                each["found_at"].isoformat(),
            )


def _checks(report: Report, units: str) -> Iterator[tuple[Any, ...]]:
    for bench in report["benches"]:
        for piece in bench["pieces"]:
            kind, limits = piece["kind"], piece["limits"] or {}
            for check in piece["checks"]:
                yield (
                    bench["name"],
                    str(piece["id"]),
                    piece["name"],
                    piece["quantity"].value,
                    check["day"].isoformat(),
                    check["taken_at"].isoformat(),
                    unit(kind, units),
                    number(kind, check["mean"], units),
                    number(kind, check["deviation"], units),
                    check["verdict"],
                    *(
                        number(kind, limits.get(name), units)
                        for name in ("mean", "lower", "upper", "spread_upper")
                    ),
                )

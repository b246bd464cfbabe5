"""A report as tidy tables: one row an observation, one table a topic, told in the reader's units."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from shimstock_server.web.csv_text import write_csv
from shimstock_server.web.quantities import to_unit

Report = dict[str, Any]

MODEL = ("model_id", "maker", "model")
QUANTILES = ("p05", "p10", "p25", "median", "p75", "p90", "p95")

HEADERS: dict[str, tuple[str, ...]] = {
    "quantities": (
        *MODEL, "quantity", "place", "frets", "stage", "unit", "count", "zero_or_less", "mean", "sd",
        "lowest", "highest", *QUANTILES, "in_spec", "too_close", "out_of_spec", "share_in_spec",
        "spec_target", "spec_lower", "spec_upper", "cpk", "cpk_lower", "cpk_upper", "suggested_target",
        "suggested_lower", "suggested_upper",
    ),
    "bins": (*MODEL, "quantity", "place", "frets", "stage", "unit", "middle", "count"),
    "steps": (*MODEL, "part", "jobs", "per_job", "count", "unit", "way_mean", "way_sd"),
    "findings": (*MODEL, "finding", "jobs", "per_job", "count"),
    "season": (
        *MODEL, "month", "quantity", "place", "frets", "unit", "count", "mean", "p10", "median", "p90",
    ),
    "jobs": (
        *MODEL, "first", "last", "jobs", "came_back", "restrung", "gauge_changed", "bench_minutes_mean",
        "bench_minutes_median", "bench_minutes_p90", "turnaround_hours_mean", "turnaround_hours_median",
        "turnaround_hours_p90", "parts_mean", "cost_mean", "currency", "received_in_spec", "returned_in_spec",
    ),
}  # fmt: skip


def table(name: str, reports: Iterable[Report], units: str) -> str:
    """Return one table of some reports as CSV."""
    rows = {
        "quantities": _quantities,
        "bins": _bins,
        "steps": _steps,
        "findings": _findings,
        "season": _season,
        "jobs": _jobs,
    }[name]
    return write_csv(HEADERS[name], (row for report in reports for row in rows(report, units)))


def _model(report: Report) -> tuple[Any, ...]:
    return str(report["model_id"]), report["maker"], report["name"]


def number(kind: str, value: float | None, units: str) -> float | None:
    """A value in the reader's units."""
    return None if value is None else float(to_unit(kind, value, units)["value"])


def unit(kind: str, units: str) -> str:
    """The reader's unit of a kind of value."""
    return str(to_unit(kind, 0.0, units)["unit"])


def _quantities(report: Report, units: str) -> Iterator[tuple[Any, ...]]:
    for each in report["quantities"]:
        kind, spec, suggestion = each["kind"], each["spec"] or {}, each["suggestion"] or {}
        for stage in each["stages"]:
            cpk = stage["capability"] or {}
            told = [stage["mean"], stage["sd"], stage["lowest"], stage["highest"]]
            told += [stage["quantiles"][name] for name in QUANTILES]
            yield (
                *_model(report),
                each["quantity"],
                each["place"],
                each["frets"],
                stage["stage"],
                unit(kind, units),
                stage["count"],
                stage["zero_or_less"],
                *(number(kind, value, units) for value in told),
                stage["in_spec"],
                stage["too_close"],
                stage["out_of_spec"],
                stage["share_in_spec"],
                *(number(kind, spec.get(name), units) for name in ("target", "lower", "upper")),
                *(cpk.get(name) for name in ("index", "lower", "upper")),
                *(number(kind, suggestion.get(name), units) for name in ("target", "lower", "upper")),
            )


def _bins(report: Report, units: str) -> Iterator[tuple[Any, ...]]:
    for each in report["quantities"]:
        kind = each["kind"]
        for stage in each["stages"]:
            for counted in stage["bins"]:
                yield (
                    *_model(report),
                    each["quantity"],
                    each["place"],
                    each["frets"],
                    stage["stage"],
                    unit(kind, units),
                    number(kind, counted["middle"], units),
                    counted["count"],
                )


def _steps(report: Report, units: str) -> Iterator[tuple[Any, ...]]:
    for each in report["steps"]:
        kind = each["unit_kind"]
        yield (
            *_model(report),
            each["name"],
            each["jobs"],
            each["per_job"],
            each["count"],
            None if kind is None else unit(kind, units),
            None if kind is None else number(kind, each["way_mean"], units),
            None if kind is None else number(kind, each["way_sd"], units),
        )


def _findings(report: Report, _units: str) -> Iterator[tuple[Any, ...]]:
    for each in report["findings"]:
        yield (*_model(report), each["name"], each["jobs"], each["per_job"], each["count"])


def _season(report: Report, units: str) -> Iterator[tuple[Any, ...]]:
    for each in report["season"]:
        kind = each["kind"]
        yield (
            *_model(report),
            each["month"],
            each["quantity"],
            each["place"],
            each["frets"],
            unit(kind, units),
            each["count"],
            *(number(kind, each[name], units) for name in ("mean", "p10", "median", "p90")),
        )


def _jobs(report: Report, _units: str) -> Iterator[tuple[Any, ...]]:
    jobs = report["jobs"]
    yield (
        *_model(report),
        report["period"]["first"].isoformat(),
        report["period"]["last"].isoformat(),
        jobs["count"],
        jobs["came_back"],
        jobs["restrung"],
        jobs["gauge_changed"],
        *(jobs["bench_minutes"][name] for name in ("mean", "median", "p90")),
        *(jobs["turnaround_hours"][name] for name in ("mean", "median", "p90")),
        jobs["parts_mean"],
        jobs["cost_mean"],
        report["currency"],
        report["received"]["share_in_spec"],
        report["returned"]["share_in_spec"],
    )

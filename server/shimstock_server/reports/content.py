"""The report on a model: from counted cells, tallies and job facts to what readers are told."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from shimstock_calc.capability import capability, suggested_spec
from shimstock_calc.summary import Bins
from shimstock_server.catalogue import ResolvedItem, resolve_spec
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.shop import Shop
from shimstock_server.database.words import Quantity, Stage
from shimstock_server.learning import (
    FINDING,
    KEPT,
    MOISTURE,
    STEP,
    Cell,
    Cells,
    Tallies,
    counted_facts,
    counted_period,
    jobs_with,
    width_of,
)
from shimstock_server.learning import KINDS as KINDS_OF_QUANTITIES

from .doings import doings_told
from .seasonal import against_moisture, season_told
from .targets import Target, target_at

KINDS = KINDS_OF_QUANTITIES | {MOISTURE: "moisture"}
"""The kind of value of what is counted."""

STAGES = (*(stage.value for stage in Stage), KEPT)
SHARES = {"p05": 0.05, "p10": 0.10, "p25": 0.25, "median": 0.50, "p75": 0.75, "p90": 0.90, "p95": 0.95}


@dataclass(frozen=True)
class Period:
    """Days of the shop's calendar, both included."""

    first: date
    last: date
    zone: str


def model_report(session: Session, model: InstrumentModel, shop: Shop, period: Period) -> dict[str, Any]:
    """Everything that the shop can tell of a model in a period, in kept units.

    Parameters
    ----------
    period : Period
        Readings count on the day they were taken, jobs on the day they were ready.
    """
    zone = ZoneInfo(period.zone)
    cells, tallies = counted_period(session, model, period.first, period.last, zone)
    facts = counted_facts(session, model, period.first, period.last, zone)
    spec = resolve_spec(session, kind=model.kind, model_id=model.id)
    seen = jobs_with(session, [fact["job_id"] for fact in facts])
    return report_of(cells, tallies, seen, facts, spec, model=model, rate=shop.shop_rate) | {
        "model_id": str(model.id),
        "maker": model.maker,
        "name": model.name,
        "kind": model.kind.value,
        "period": {"first": period.first, "last": period.last, "zone": period.zone},
        "currency": shop.currency,
    }


def report_of(
    cells: Cells,
    tallies: Tallies,
    seen: Mapping[tuple[str, str, str], int],
    facts: Sequence[dict[str, Any]],
    spec: Sequence[ResolvedItem],
    *,
    model: InstrumentModel,
    rate: float | None,
) -> dict[str, Any]:
    """Put counts into words and figures; see `model_report`."""
    worked_on = len(facts)
    return {
        "jobs": jobs_told(facts, rate),
        "received": _shares(facts, "received"),
        "returned": _shares(facts, "returned"),
        "quantities": _quantities(cells, spec, model),
        "steps": doings_told(tallies, STEP, seen, worked_on),
        "findings": doings_told(tallies, FINDING, seen, worked_on),
        "season": season_told(cells),
        "against_moisture": against_moisture(cells),
    }


def jobs_told(facts: Sequence[dict[str, Any]], rate: float | None) -> dict[str, Any]:
    """Minutes, days, parts and cost of jobs."""
    minutes = [float(fact["minutes"]) for fact in facts]
    hours = [fact["turnaround_hours"] for fact in facts]
    parts = [fact["parts_price"] for fact in facts]
    count = len(facts)
    mean_minutes = statistics.fmean(minutes) if count else None
    mean_parts = statistics.fmean(parts) if count else None
    return {
        "count": count,
        "came_back": sum(fact["came_back"] for fact in facts),
        "restrung": sum(fact["restrung"] for fact in facts),
        "gauge_changed": sum(fact["gauge_changed"] for fact in facts),
        "bench_minutes": _spread(minutes),
        "turnaround_hours": _spread(hours),
        "parts_mean": mean_parts,
        "cost_mean": cost(mean_minutes, mean_parts, rate),
    }


def cost(minutes: float | None, parts: float | None, rate: float | None) -> float | None:
    """Bench minutes at the shop's rate and parts; None while the shop has no rate [shop's currency]."""
    if minutes is None or parts is None or rate is None:
        return None
    return minutes / 60.0 * rate + parts


def _spread(values: Sequence[float]) -> dict[str, float | None]:
    if not values:
        return {"mean": None, "median": None, "p90": None}
    tenths = statistics.quantiles(values, n=10, method="inclusive") if len(values) > 1 else [values[0]] * 9
    return {"mean": statistics.fmean(values), "median": statistics.median(values), "p90": tenths[8]}


def _shares(facts: Iterable[dict[str, Any]], end: str) -> dict[str, Any]:
    told = list(facts)
    counts = {word: sum(fact[f"{end}_{word}"] for fact in told) for word in ("in", "close", "out")}
    return {
        "in_spec": counts["in"],
        "too_close": counts["close"],
        "out_of_spec": counts["out"],
        "share_in_spec": share(counts["in"], sum(counts.values())),
    }


def share(some: int, whole: int) -> float | None:
    """Some of a whole; None of nothing [-]."""
    return some / whole if whole else None


def _quantities(cells: Cells, spec: Sequence[ResolvedItem], model: InstrumentModel) -> list[dict[str, Any]]:
    merged: dict[tuple[str, str, str], dict[str, Cell]] = {}
    for key, cell in cells.items():
        if key.quantity != MOISTURE:
            stages = merged.setdefault((key.quantity, key.place, key.frets), {})
            stages[key.stage] = stages[key.stage].merged(cell) if key.stage in stages else cell
    return [
        _quantity(place, merged[place], target_at(place, spec, model)) for place in sorted(merged, key=_order)
    ]


def _order(place: tuple[str, str, str]) -> tuple[int, list[Any], str]:
    words = [int(word) if word.isdecimal() else word for word in place[1].split()]
    return (
        [each.value for each in Quantity].index(place[0]),
        [str(type(w)) + f"{w:>6}" for w in words],
        place[2],
    )


def _quantity(place: tuple[str, str, str], stages: dict[str, Cell], item: Target | None) -> dict[str, Any]:
    quantity, where, frets = place
    kept = stages.get(KEPT)
    suggestion = None if kept is None else suggested_spec(Bins(width_of(quantity), kept.bins))
    return {
        "quantity": quantity,
        "kind": KINDS[quantity],
        "place": where,
        "frets": frets,
        "resolution": width_of(quantity),
        "spec": None
        if item is None
        else {
            "kind": KINDS[quantity],
            "target": item.target,
            "lower": item.lower,
            "upper": item.upper,
            "scope": item.scope,
            "converted": item.converted,
        },
        "stages": [stage_told(quantity, stage, stages[stage], item) for stage in STAGES if stage in stages],
        "suggestion": None
        if suggestion is None
        else {
            "kind": KINDS[quantity],
            "target": suggestion.target,
            "lower": suggestion.lower,
            "upper": suggestion.upper,
            "readings": suggestion.count,
        },
    }


def stage_told(quantity: str, stage: str, cell: Cell, item: Target | None) -> dict[str, Any]:
    """The readings of one stage: how many, where they lie, how they were judged."""
    moments = cell.moments
    some = moments.count > 0
    bins = Bins(width_of(quantity), cell.bins)
    judged = cell.in_spec + cell.too_close + cell.out_of_spec
    held = None
    if item is not None and (item.lower is not None or item.upper is not None):
        held = capability(moments, item.lower, item.upper)
    return {
        "kind": KINDS[quantity],
        "stage": stage,
        "count": moments.count,
        "zero_or_less": cell.touching,
        "mean": moments.mean if some else None,
        "sd": moments.sd if moments.count > 1 else None,
        "lowest": cell.lowest if some else None,
        "highest": cell.highest if some else None,
        "quantiles": {"kind": KINDS[quantity]}
        | {name: float(bins.quantile(each)) if some else None for name, each in SHARES.items()},
        "in_spec": cell.in_spec,
        "too_close": cell.too_close,
        "out_of_spec": cell.out_of_spec,
        "share_in_spec": share(cell.in_spec, judged),
        "capability": None
        if held is None
        else {"index": held.index, "lower": held.lower, "upper": held.upper},
        "bins": [
            {"kind": KINDS[quantity], "middle": bins.width * place, "count": cell.bins[place]}
            for place in sorted(cell.bins)
        ],
    }

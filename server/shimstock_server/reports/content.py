"""The report on a model: from counted cells, tallies and job facts to what readers are told."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
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
    width_of,
)
from shimstock_server.learning import KINDS as KINDS_OF_QUANTITIES

KINDS = KINDS_OF_QUANTITIES | {MOISTURE: "moisture"}
"""The kind of value of what is counted."""

STAGES = (*(stage.value for stage in Stage), KEPT)
SHARES = {"p05": 0.05, "p10": 0.10, "p25": 0.25, "median": 0.50, "p75": 0.75, "p90": 0.90, "p95": 0.95}
SEASONAL = (Quantity.RELIEF.value, Quantity.ACTION.value)


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
    return report_of(cells, tallies, facts, spec, strings=model.strings, rate=shop.shop_rate) | {
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
    facts: Sequence[dict[str, Any]],
    spec: Sequence[ResolvedItem],
    *,
    strings: int,
    rate: float | None,
) -> dict[str, Any]:
    """Put counts into words and figures; see `model_report`."""
    worked_on = len(facts)
    return {
        "jobs": jobs_told(facts, rate),
        "received": _shares(facts, "received"),
        "returned": _shares(facts, "returned"),
        "quantities": _quantities(cells, spec, strings),
        "steps": _tallies(tallies, STEP, worked_on),
        "findings": _tallies(tallies, FINDING, worked_on),
        "season": _season(cells),
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


def _quantities(cells: Cells, spec: Sequence[ResolvedItem], strings: int) -> list[dict[str, Any]]:
    merged: dict[tuple[str, str, str], dict[str, Cell]] = {}
    for key, cell in cells.items():
        if key.quantity != MOISTURE:
            stages = merged.setdefault((key.quantity, key.place, key.frets), {})
            stages[key.stage] = stages[key.stage].merged(cell) if key.stage in stages else cell
    return [
        _quantity(place, merged[place], _item(place, spec, strings)) for place in sorted(merged, key=_order)
    ]


def _order(place: tuple[str, str, str]) -> tuple[int, list[Any], str]:
    words = [int(word) if word.isdecimal() else word for word in place[1].split()]
    return (
        [each.value for each in Quantity].index(place[0]),
        [str(type(w)) + f"{w:>6}" for w in words],
        place[2],
    )


def _item(place: tuple[str, str, str], spec: Sequence[ResolvedItem], strings: int) -> ResolvedItem | None:
    """The item of today's spec that speaks of a place, where the readings were taken as it asks."""
    quantity, where, frets = place
    fitting = [
        item
        for item in spec
        if item.quantity.value == quantity and _at(item, where, strings) and _as_read(item, frets)
    ]
    return max(
        fitting,
        key=lambda item: sum(part is not None for part in (item.side, item.string, item.pickup)),
        default=None,
    )


def _at(item: ResolvedItem, where: str, strings: int) -> bool:
    pickup, _, rest = where.rpartition(", ") if where.startswith("pickup ") else ("", "", where)
    if where.startswith("pickup ") and not pickup:
        pickup, rest = where, ""
    if item.pickup is not None and pickup != f"pickup {item.pickup}":
        return False
    if item.side is not None:
        return rest == item.side.value
    if item.string is not None:
        outer = {1: "treble", strings: "bass"}.get(item.string)
        return rest in (f"string {item.string}", outer)
    return not rest.startswith("string ") or item.quantity in (Quantity.INTONATION, Quantity.BREAK_CLEARANCE)


def _as_read(item: ResolvedItem, frets: str) -> bool:
    if item.quantity is Quantity.RELIEF:
        return len(item.held) == 2 and frets == f"held {item.held[0]}-{item.held[1]}, fret {item.fret}"
    if item.quantity in (Quantity.ACTION, Quantity.INTONATION):
        return frets == f"fret {item.fret}"
    return not frets


def _quantity(
    place: tuple[str, str, str], stages: dict[str, Cell], item: ResolvedItem | None
) -> dict[str, Any]:
    quantity, where, frets = place
    kept = stages.get(KEPT)
    suggestion = None if kept is None else suggested_spec(Bins(width_of(quantity), kept.bins))
    return {
        "quantity": quantity,
        "kind": KINDS[quantity],
        "place": where,
        "frets": frets,
        "spec": None
        if item is None
        else {
            "kind": KINDS[quantity],
            "target": item.target,
            "lower": item.lower,
            "upper": item.upper,
            "scope": item.scope.value,
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


def stage_told(quantity: str, stage: str, cell: Cell, item: ResolvedItem | None) -> dict[str, Any]:
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


def _tallies(tallies: Tallies, what: str, jobs: int) -> list[dict[str, Any]]:
    merged: dict[tuple[str, str], Any] = {}
    for key, tally in tallies.items():
        if key.what == what:
            name = key.name, key.unit
            merged[name] = merged[name].merged(tally) if name in merged else tally
    told = [
        {
            "name": name,
            "jobs": tally.jobs,
            "per_job": share(tally.jobs, jobs),
            "count": tally.way.count,
            "unit_kind": {"turn": "turns", "mm": "thickness"}.get(unit),
            "way_mean": tally.way.mean if unit else None,
            "way_sd": tally.way.sd if unit and tally.way.count > 1 else None,
        }
        for (name, unit), tally in merged.items()
    ]
    return sorted(told, key=lambda each: (-each["jobs"], each["name"], each["unit_kind"] or ""))


def _season(cells: Cells) -> list[dict[str, Any]]:
    """By month of the year: where relief and action came in, and what the room's air would bring wood to."""
    merged: dict[tuple[int, str, str, str], Cell] = {}
    for key, cell in cells.items():
        if key.stage == Stage.AS_RECEIVED.value and key.quantity in (*SEASONAL, MOISTURE):
            name = key.month % 12 + 1, key.quantity, key.place, key.frets
            merged[name] = merged[name].merged(cell) if name in merged else cell
    return [
        {
            "month": month,
            "quantity": quantity,
            "kind": KINDS[quantity],
            "place": place,
            "frets": frets,
            "count": cell.moments.count,
            "mean": cell.moments.mean,
        }
        | {
            name: float(Bins(width_of(quantity), cell.bins).quantile(SHARES[name]))
            for name in ("p10", "median", "p90")
        }
        for (month, quantity, place, frets), cell in sorted(merged.items())
        if cell.moments.count
    ]

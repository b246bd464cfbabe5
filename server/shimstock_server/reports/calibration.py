"""What forecasts are worth: how often readings fell inside what was stated, and how much tools scatter."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.belief.calibration import SHARES, counted
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.shop import Bench, Tool
from shimstock_server.learning import (
    KINDS,
    CountedForecasts,
    counted_forecasts,
    listed_forecasts,
    start_of,
    told_noises,
)

from .content import Period
from .tables import Report

WAYS: dict[str, Callable[[CountedForecasts], Any]] = {
    "all": lambda _: None,
    "quantity": lambda each: each.quantity.value,
    "tool": lambda each: each.tool_id,
    "bench": lambda each: each.bench_id,
    "model": lambda each: each.model_id,
}
"""What readings are told apart by, and what each shares."""

UNNAMED = {"all": "all readings", "tool": "no tool named", "bench": "no bench named"}


class Names:
    """Tools, benches and models by id."""

    def __init__(self, session: Session) -> None:
        self.of: dict[str, dict[Any, str]] = {
            "tool": {row.id: row.name for row in session.execute(select(Tool.id, Tool.name))},
            "bench": {row.id: row.name for row in session.execute(select(Bench.id, Bench.name))},
            "model": {
                row.id: f"{row.maker} {row.name}"
                for row in session.execute(
                    select(InstrumentModel.id, InstrumentModel.maker, InstrumentModel.name)
                )
            },
        }

    def name(self, by: str, key: Any) -> str:
        """What a group is called."""
        if key is None:
            return UNNAMED[by]
        return str(key).replace("-", " ") if by == "quantity" else self.of[by][key]


def calibration(session: Session, period: Period, *, listed: bool = False) -> Report:
    """Count the forecasts of a period against what was read.

    Parameters
    ----------
    period : Period
        Readings count on the day they were taken.
    listed : bool
        Whether every forecast is listed too.
    """
    span, names = _span(period), Names(session)
    found = counted_forecasts(session, *span)
    report: Report = {
        "period": period,
        "groups": [group for by in WAYS for group in _groups(by, found, names)],
        "noises": told_noises(session),
    }
    if listed:
        report["forecasts"] = [_listed(row, names) for row in listed_forecasts(session, *span)]
    return report


def _span(period: Period) -> tuple[datetime, datetime]:
    """When a period begins, and when the day after it does."""
    zone = ZoneInfo(period.zone)
    return start_of(period.first, zone), start_of(period.last + timedelta(days=1), zone)


def _groups(by: str, found: Sequence[CountedForecasts], names: Names) -> Iterator[dict[str, Any]]:
    """Counts merged by what they share: those with most readings first."""
    alike: dict[Any, list[CountedForecasts]] = {}
    for each in found:
        alike.setdefault(WAYS[by](each), []).append(each)
    told = [(names.name(by, key), key, group) for key, group in alike.items()]
    for name, key, group in sorted(told, key=lambda each: (-sum(one.of for one in each[2]), each[0])):
        yield {
            "by": by,
            "id": None if by in ("all", "quantity") else key,
            "name": name,
            "shares": _shares([each for each in group if not each.doubtful]),
            "doubtful": _shares([each for each in group if each.doubtful]),
        }


def _shares(group: Sequence[CountedForecasts]) -> list[dict[str, Any]]:
    inside = [sum(each.inside[number] for each in group) for number in range(len(SHARES))]
    return [
        {
            "stated": each.stated,
            "inside": each.inside,
            "of": each.of,
            "seen": each.seen,
            "lower": each.lower,
            "upper": each.upper,
        }
        for each in counted(inside, sum(each.of for each in group))
    ]


def _listed(row: Any, names: Names) -> Mapping[str, Any]:
    told = dict(row._mapping)
    return told | {
        "kind": KINDS[row.quantity.value],
        "tool": names.name("tool", row.tool_id),
        "bench": names.name("bench", row.bench_id),
        "distance": (row.value - row.expected) / row.spread,
    }

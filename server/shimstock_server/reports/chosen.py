"""What pictures show of a report, and how it is named and told there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from shimstock_server.database.words import Quantity, Stage
from shimstock_server.web.units import KINDS, convert

from .tables import Report

MOST_PANELS = 24
LEAST_READINGS = 3
ENDS = (Stage.AS_RECEIVED.value, Stage.FINAL.value)
MOST_CURVES = 4


def name_of(each: dict[str, Any]) -> str:
    """A quantity and its place in words."""
    words = each["quantity"].replace("-", " ")
    return f"{words}, {each['place']}" if each["place"] else str(words)


def shown_places(report: Report) -> list[dict[str, Any]]:
    """The places that pictures show: those that the spec speaks of, else those read most."""
    some = [
        each
        for each in report["quantities"]
        if any(stage["count"] >= LEAST_READINGS and stage["stage"] in ENDS for stage in each["stages"])
    ]
    with_spec = [each for each in some if each["spec"] is not None]
    chosen = with_spec or sorted(some, key=lambda each: -max(stage["count"] for stage in each["stages"]))
    return chosen[:MOST_PANELS]


def stage_of(each: dict[str, Any], stage: str) -> dict[str, Any] | None:
    """The readings of a stage, when there are any with a value."""
    return next((found for found in each["stages"] if found["stage"] == stage and found["count"]), None)


def shown_curves(report: Report) -> tuple[list[list[dict[str, Any]]], list[dict[str, Any]] | None]:
    """The curves through the year that pictures show, and the moisture of the room's air."""
    curves: dict[tuple[str, str, str], list[dict[str, Any]]] = {}
    for each in report["season"]:
        curves.setdefault((each["quantity"], each["place"], each["frets"]), []).append(each)
    moisture = next((months for key, months in curves.items() if key[0] == "room-moisture"), None)
    readings = [months for key, months in curves.items() if key[0] != "room-moisture" and len(months) > 1]
    return sorted(readings, key=_seasonal_rank)[:MOST_CURVES], moisture


def _seasonal_rank(months: Sequence[dict[str, Any]]) -> tuple[bool, bool, int]:
    """Relief before action, sides before strings, what was read most first."""
    first = months[0]
    return (
        first["quantity"] != Quantity.RELIEF.value,
        first["place"].startswith("string "),
        -sum(each["count"] for each in months),
    )


def told(kind: str, value: float, units: str) -> float:
    """A value in the reader's unit."""
    known = KINDS[kind]
    return convert(value, known.unit, known.out(units))


def unit_of(kind: str, units: str) -> str:
    """The reader's unit as pictures write it."""
    word = str(KINDS[kind].out(units))
    return {"percent": "% MC", "in/64": "1/64 in"}.get(word, word)


def bar_edges(each: dict[str, Any]) -> tuple[float, float, float]:
    """Where bars begin and end, and how wide they are, so that a few dozen show all readings [kept unit]."""
    found = [stage for name in ENDS if (stage := stage_of(each, name)) is not None]
    middles = [counted["middle"] for stage in found for counted in stage["bins"]]
    spec = each["spec"] or {}
    inside = [spec[name] for name in ("lower", "upper", "target") if spec.get(name) is not None]
    low, high = min([*middles, *inside]), max([*middles, *inside])
    fine = each["resolution"]
    count = max(stage["count"] for stage in found)
    bars = min(MOST_BARS, max(8, round(3.0 * count ** (1 / 3))))
    wide = fine * max(1, round((high - low) / fine / bars))
    return low - 1.5 * wide, high + 1.5 * wide, wide


MOST_BARS = 28
"""Most bars a panel, about; fewer readings get wider ones."""

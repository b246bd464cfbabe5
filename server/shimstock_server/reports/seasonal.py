"""Relief and action through the year, and against the moisture that the room's air brings wood to."""

from __future__ import annotations

from typing import Any

from shimstock_calc.summary import Bins, LineSums
from shimstock_server.database.words import Quantity, Stage
from shimstock_server.learning import KINDS, MOISTURE, Cell, Cells, width_of

SEASONAL = (Quantity.RELIEF.value, Quantity.ACTION.value)
SHARES = {"p10": 0.10, "median": 0.50, "p90": 0.90}
LEAST_MONTHS, LEAST_READINGS, LEAST_SWING = 6, 3, 1.0
"""From how many months of how many readings, over how much moisture [% MC], a line is drawn; judgement."""


def season_told(cells: Cells) -> list[dict[str, Any]]:
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
            "kind": _kind(quantity),
            "place": place,
            "frets": frets,
            "count": cell.moments.count,
            "mean": cell.moments.mean,
        }
        | {name: float(Bins(width_of(quantity), cell.bins).quantile(share)) for name, share in SHARES.items()}
        for (month, quantity, place, frets), cell in sorted(merged.items())
        if cell.moments.count
    ]


def against_moisture(cells: Cells) -> list[dict[str, Any]]:
    """How relief and action as received follow the moisture that the room's air brings wood to.

    Notes
    -----
    A straight line through the means of single months. The air is the shop's when the instrument was read:
    what an instrument brings from its own room makes the scatter about the line.
    """
    air = {
        key.month: cell.moments.mean
        for key, cell in cells.items()
        if key.quantity == MOISTURE and key.stage == Stage.AS_RECEIVED.value
    }
    points: dict[tuple[str, str, str], list[tuple[float, float]]] = {}
    for key, cell in sorted(cells.items()):
        seasonal = key.quantity in SEASONAL and key.stage == Stage.AS_RECEIVED.value
        if seasonal and key.month in air and cell.moments.count >= LEAST_READINGS:
            place = key.quantity, key.place, key.frets
            points.setdefault(place, []).append((air[key.month], cell.moments.mean))
    return [
        _line(place, found)
        for place, found in sorted(points.items())
        if len(found) >= LEAST_MONTHS and max(found)[0] - min(found)[0] >= LEAST_SWING
    ]


def _line(place: tuple[str, str, str], points: list[tuple[float, float]]) -> dict[str, Any]:
    quantity, where, frets = place
    line = LineSums.of([x for x, _ in points], [y for _, y in points]).line()
    return {
        "quantity": quantity,
        "kind": _kind(quantity),
        "place": where,
        "frets": frets,
        "months": len(points),
        "per_percent": line.slope,
        "uncertainty": line.slope_sd,
    }


def _kind(quantity: str) -> str:
    return "moisture" if quantity == MOISTURE else KINDS[quantity]

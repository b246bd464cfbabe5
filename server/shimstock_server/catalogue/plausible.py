"""What a reading can plausibly be; beyond it, the technician confirms.

Judgement.
"""

from __future__ import annotations

from shimstock_server.database.words import Kind, Quantity

KIND_OF_VALUE: dict[Quantity, str] = {
    Quantity.RELIEF: "relief",
    Quantity.ACTION: "action",
    Quantity.NUT_ACTION: "nut-action",
    Quantity.PICKUP_HEIGHT: "pickup-height",
    Quantity.INTONATION: "intonation",
    Quantity.BREAK_CLEARANCE: "break-clearance",
    Quantity.TWIST: "twist",
    Quantity.SADDLE_OUT: "saddle-height",
}
"""The kind of value of each quantity: its dimension, and the units that it is told in."""

_RANGES: dict[Quantity, tuple[float, float]] = {
    Quantity.RELIEF: (-1.5, 2.5),
    Quantity.ACTION: (0.5, 6.0),
    Quantity.NUT_ACTION: (0.0, 2.0),
    Quantity.PICKUP_HEIGHT: (0.3, 10.0),
    Quantity.INTONATION: (-60.0, 60.0),
    Quantity.BREAK_CLEARANCE: (0.0, 10.0),
    Quantity.TWIST: (-1.5, 1.5),
    Quantity.SADDLE_OUT: (0.0, 8.0),
}


def plausible_range(quantity: Quantity, kind: Kind | None = None) -> tuple[float, float]:
    """Lowest and highest plausible value [mm or cents]; nylon strings stand higher."""
    if quantity is Quantity.ACTION and kind is Kind.CLASSICAL_NYLON:
        return (1.0, 8.0)
    return _RANGES[quantity]

"""The kind of value of each quantity: its dimension, and the units that it is told in."""

from __future__ import annotations

from shimstock_server.database.words import Quantity

KINDS: dict[str, str] = {
    Quantity.RELIEF.value: "relief",
    Quantity.ACTION.value: "action",
    Quantity.NUT_ACTION.value: "nut-action",
    Quantity.PICKUP_HEIGHT.value: "pickup-height",
    Quantity.INTONATION.value: "intonation",
    Quantity.BREAK_CLEARANCE.value: "break-clearance",
    Quantity.TWIST.value: "twist",
    Quantity.SADDLE_OUT.value: "saddle-height",
}

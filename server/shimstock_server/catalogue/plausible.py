"""What a reading can plausibly be; beyond it, the technician confirms.

Judgement.
"""

from __future__ import annotations

from shimstock_server.database.words import Kind, Quantity

KIND_OF_VALUE: dict[Quantity, str] = {quantity: quantity.term.kind_of_value for quantity in Quantity}
"""The kind of value of each quantity: its dimension, and the units that it is told in."""


def plausible_range(quantity: Quantity, kind: Kind | None = None) -> tuple[float, float]:
    """Lowest and highest plausible value [mm or cents]."""
    term = quantity.term
    return term.plausible if kind is None else term.plausible_on.get(kind.value, term.plausible)

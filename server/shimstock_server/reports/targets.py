"""Which item of a spec speaks of a place where readings were taken, and what it asks for there."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, NamedTuple

from shimstock_server.catalogue import ResolvedItem
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.words import Quantity, Side
from shimstock_server.learning import relief_factor

_HELD = re.compile(r"held (\d+)-(\d+), fret (\d+)")


class Target(NamedTuple):
    """What today's spec asks for at a place [kept unit]."""

    target: float
    lower: float | None
    upper: float | None
    scope: str
    converted: bool
    """Whether it is stated for another hold, and was brought to this one."""


def target_at(place: tuple[str, str, str], spec: Sequence[ResolvedItem], model: Any) -> Target | None:
    """Return what the most specific item for a place asks for there; None where none speaks of it."""
    quantity, where, frets = place
    fitting = [
        (item, factor)
        for item in spec
        if item.quantity.value == quantity
        and _at(item, where, model.strings)
        and (factor := _factor(item, where, frets, model)) is not None
    ]
    if not fitting:
        return None
    item, factor = max(
        fitting,
        key=lambda each: sum(part is not None for part in (each[0].side, each[0].string, each[0].pickup)),
    )
    return Target(
        item.target / factor,
        None if item.lower is None else item.lower / factor,
        None if item.upper is None else item.upper / factor,
        item.scope.value,
        factor != 1.0,
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
    return not rest.startswith("string ") or item.quantity.term.place == "string"


def _factor(item: ResolvedItem, where: str, frets: str, model: InstrumentModel) -> float | None:
    """What a reading is multiplied with to compare it with an item; None where it cannot be compared."""
    if item.quantity is Quantity.RELIEF:
        read = _HELD.fullmatch(frets)
        if read is None:
            return None
        low, high, fret = (int(each) for each in read.groups())
        side = Side(where) if where in (Side.BASS.value, Side.TREBLE.value) else None
        return relief_factor(model, side, (low, high, fret), item)
    if item.quantity in (Quantity.ACTION, Quantity.INTONATION):
        return 1.0 if frets == f"fret {item.fret}" else None
    return None if frets else 1.0

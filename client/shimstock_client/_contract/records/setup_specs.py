"""Records of setup specs, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored
from ..words import InstrumentKind, QuantityName, Side, SpecSourceScope


@dataclass(kw_only=True, repr=False, eq=False)
class SpecSource(Record):
    """Where an item of a resolved spec comes from."""

    number: int = 0
    scope: SpecSourceScope = UNKNOWN
    spec_id: str = ""


@dataclass(kw_only=True, repr=False, eq=False)
class SpecItem(Record):
    """Target and limits of one quantity, with the frets that they are meant at."""

    fret: int | None = None
    from_: SpecSource | None = None
    held: list[int] = field(default_factory=list)
    lower: Quantity | None = None
    own: bool | None = None
    pickup: str | None = None
    quantity: QuantityName = UNKNOWN
    side: Side | None = None
    string: int | None = None
    target: Quantity | None = None
    typed: dict[str, Quantity] = field(default_factory=dict)
    upper: Quantity | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class SetupSpec(Stored):
    """Targets of one scope, or resolved from all that apply."""

    instrument_id: str | None = None
    items: list[SpecItem] = field(default_factory=list)
    job_id: str | None = None
    kind: InstrumentKind | None = None
    model_id: str | None = None
    number: int = 0
    own_id: str | None = None
    scope: SpecSourceScope = UNKNOWN
    current: bool | None = None
    reason: str | None = None

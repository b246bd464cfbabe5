"""Bodies and filters of setup specs, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NotRequired, TypedDict

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions
from ..words import InstrumentKind, QuantityName, Side, SpecSourceScope


class SpecItemIn(TypedDict):
    """A dictionary as it travels."""

    fret: NotRequired[int | None]
    held: NotRequired[Sequence[int]]
    lower: NotRequired[Quantity | QuantityDict | None]
    pickup: NotRequired[str | None]
    quantity: QuantityName
    side: NotRequired[Side | None]
    string: NotRequired[int | None]
    target: Quantity | QuantityDict
    upper: NotRequired[Quantity | QuantityDict | None]


class SetupSpecIn(TypedDict):
    """A dictionary as it travels."""

    items: Sequence[SpecItemIn]
    reason: NotRequired[str | None]


class SetupSpecsFilters(CallOptions, total=False):
    """What `/v1/setup-specs` can be asked for."""

    limit: int | None
    scope: SpecSourceScope | None
    kind: InstrumentKind | None

"""Bodies and filters of strings, made by client/generate.py: do not edit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NotRequired, TypedDict

from ..._quantity import Quantity, QuantityDict
from ..._writes import CallOptions
from ..words import BuiltFor, CoreShape, InstrumentKind, StringMaterial, WrapMaterial


class StringIn(TypedDict):
    """A dictionary as it travels."""

    core: NotRequired[Quantity | QuantityDict | None]
    core_shape: NotRequired[CoreShape | None]
    gauge: Quantity | QuantityDict
    linear_density: NotRequired[Quantity | QuantityDict | None]
    material: NotRequired[StringMaterial]
    note: NotRequired[str | None]
    number: int
    wound: NotRequired[bool]
    wrap: NotRequired[Quantity | QuantityDict | None]
    wrap_material: NotRequired[WrapMaterial | None]


class StringSetIn(TypedDict):
    """A dictionary as it travels."""

    built_for: NotRequired[BuiltFor]
    kinds: NotRequired[Sequence[InstrumentKind]]
    name: str
    strings: Sequence[StringIn]


class StringSetChange(TypedDict):
    """A dictionary as it travels."""

    built_for: NotRequired[BuiltFor]
    kinds: NotRequired[Sequence[InstrumentKind]]
    name: NotRequired[str]
    strings: NotRequired[Sequence[StringIn]]


class TuningIn(TypedDict):
    """A dictionary as it travels."""

    name: str
    notes: Sequence[str]
    reference_pitch: NotRequired[Quantity | QuantityDict | None]


class TuningChange(TypedDict):
    """A dictionary as it travels."""

    name: NotRequired[str]
    notes: NotRequired[Sequence[str]]
    reference_pitch: NotRequired[Quantity | QuantityDict | None]


class StringSetsFilters(CallOptions, total=False):
    """What `/v1/string-sets` can be asked for."""

    limit: int | None


class TuningsFilters(CallOptions, total=False):
    """What `/v1/tunings` can be asked for."""

    limit: int | None

"""Records of strings, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..._quantity import Quantity
from ..._wire import UNKNOWN, Record, Stored
from ..words import BuiltFor, CoreShape, InstrumentKind, LinearDensitySource, StringMaterial, WrapMaterial


@dataclass(kw_only=True, repr=False, eq=False)
class StringOfSet(Record):
    """One string of a set; string 1 is the outermost on the treble side."""

    core: Quantity | None = None
    core_shape: CoreShape | None = None
    gauge: Quantity | None = None
    linear_density: Quantity | None = None
    linear_density_source: LinearDensitySource = UNKNOWN
    material: StringMaterial = UNKNOWN
    note: str | None = None
    number: int = 0
    typed: dict[str, Quantity] = field(default_factory=dict)
    wound: bool = False
    wrap: Quantity | None = None
    wrap_material: WrapMaterial | None = None


@dataclass(kw_only=True, repr=False, eq=False)
class StringSet(Stored):
    """A set of strings."""

    built_for: BuiltFor = UNKNOWN
    kinds: list[InstrumentKind] = field(default_factory=list)
    name: str = ""
    strings: list[StringOfSet] = field(default_factory=list)


@dataclass(kw_only=True, repr=False, eq=False)
class Tuning(Stored):
    """Open notes from string 1, and the reference pitch."""

    frequencies: list[Quantity | None] = field(default_factory=list)
    name: str = ""
    notes: list[str] = field(default_factory=list)
    reference_pitch: Quantity | None = None

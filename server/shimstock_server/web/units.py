"""The units that the service speaks, and the kinds of quantity that are told in them.

Pint gives the factors, once, when this module is imported. Text from outside never reaches it: a unit is
a word of a closed list.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from math import lcm
from typing import Any

import pint

from shimstock_calc.vocabulary import Quantity, QuantityTerm


class Unit(StrEnum):
    """A unit as it stands in requests and answers."""

    MM = "mm"
    INCH = "in"
    THOU = "thou"
    SIXTYFOURTH = "in/64"
    CENTS = "cents"
    HERTZ = "Hz"
    CELSIUS = "degC"
    FAHRENHEIT = "degF"
    PERCENT = "percent"
    NEWTON = "N"
    POUND_FORCE = "lbf"
    TURN = "turn"
    GRAM_PER_METRE = "g/m"
    KILOGRAM_PER_CUBIC_METRE = "kg/m3"
    GRAM_PER_CUBIC_METRE = "g/m3"
    MEGAPASCAL = "MPa"
    GIGAPASCAL = "GPa"
    PASCAL = "Pa"
    MM_PER_TURN = "mm/turn"
    MM_PER_NEWTON = "mm/N"
    MINUTE = "min"
    HOUR = "h"
    DAY = "day"


_registry: pint.UnitRegistry[Any] = pint.UnitRegistry(non_int_type=Fraction)
# Cents, turns of a screw and percent are pure numbers to physics. A reading of 30 cents is still no relief:
# each gets a dimension of its own.
_registry.define("pitch_cent = [pitch_interval]")
_registry.define("screw_turn = [rotation]")
_registry.define("percent_share = [share]")
_registry.define("sixtyfourth = inch / 64")

_PINT: dict[Unit, pint.Unit] = {
    Unit.MM: _registry.Unit("millimeter"),
    Unit.INCH: _registry.Unit("inch"),
    Unit.THOU: _registry.Unit("thou"),
    Unit.SIXTYFOURTH: _registry.Unit("sixtyfourth"),
    Unit.CENTS: _registry.Unit("pitch_cent"),
    Unit.HERTZ: _registry.Unit("hertz"),
    Unit.CELSIUS: _registry.Unit("degC"),
    Unit.FAHRENHEIT: _registry.Unit("degF"),
    Unit.PERCENT: _registry.Unit("percent_share"),
    Unit.NEWTON: _registry.Unit("newton"),
    Unit.POUND_FORCE: _registry.Unit("pound_force"),
    Unit.TURN: _registry.Unit("screw_turn"),
    Unit.GRAM_PER_METRE: _registry.Unit("gram / meter"),
    Unit.KILOGRAM_PER_CUBIC_METRE: _registry.Unit("kilogram / meter ** 3"),
    Unit.GRAM_PER_CUBIC_METRE: _registry.Unit("gram / meter ** 3"),
    Unit.MEGAPASCAL: _registry.Unit("megapascal"),
    Unit.GIGAPASCAL: _registry.Unit("gigapascal"),
    Unit.PASCAL: _registry.Unit("pascal"),
    Unit.MM_PER_TURN: _registry.Unit("millimeter / screw_turn"),
    Unit.MM_PER_NEWTON: _registry.Unit("millimeter / newton"),
    Unit.MINUTE: _registry.Unit("minute"),
    Unit.HOUR: _registry.Unit("hour"),
    Unit.DAY: _registry.Unit("day"),
}

_DIMENSION = {unit: _registry.get_dimensionality(_PINT[unit]) for unit in Unit}

# Decimals of each unit in an answer: finer than any tool reads, coarser than a float's last digits.
_DECIMALS: dict[Unit, int] = {
    Unit.MM: 3,
    Unit.INCH: 4,
    Unit.THOU: 1,
    Unit.SIXTYFOURTH: 2,
    Unit.CENTS: 2,
    Unit.HERTZ: 3,
    Unit.CELSIUS: 2,
    Unit.FAHRENHEIT: 2,
    Unit.PERCENT: 2,
    Unit.NEWTON: 2,
    Unit.POUND_FORCE: 2,
    Unit.TURN: 3,
    Unit.GRAM_PER_METRE: 4,
    Unit.KILOGRAM_PER_CUBIC_METRE: 1,
    Unit.GRAM_PER_CUBIC_METRE: 3,
    Unit.MEGAPASCAL: 2,
    Unit.GIGAPASCAL: 3,
    Unit.PASCAL: 1,
    Unit.MM_PER_TURN: 4,
    Unit.MM_PER_NEWTON: 6,
    Unit.MINUTE: 1,
    Unit.HOUR: 2,
    Unit.DAY: 2,
}


def decimals(unit: Unit) -> int:
    """Return how many decimals a value in this unit has in an answer."""
    return _DECIMALS[unit]


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: what it is, the unit it is kept in, and those it is told in."""

    name: str
    noun: str
    unit: Unit
    metric: Unit
    inch: Unit
    accepted: tuple[Unit, ...] = field(default=())

    @property
    def words(self) -> str:
        """The quantity's name as it stands in a sentence."""
        return self.name.replace("-", " ")

    def out(self, units: str) -> Unit:
        """Return the unit in which this quantity is told to somebody who thinks in `mm` or in `inch`."""
        return self.inch if units == "inch" else self.metric


def _kind(name: str, noun: str, unit: Unit, metric: Unit | None = None, inch: Unit | None = None) -> Kind:
    metric = metric or unit
    accepted = tuple(other for other in Unit if _DIMENSION[other] == _DIMENSION[unit])
    return Kind(name, noun, unit, metric, inch or metric, accepted)


_LENGTH, _DIFFERENCE = "a length", "a difference of pitch"


def _of_quantity(term: QuantityTerm) -> Kind:
    noun = _LENGTH if term.dimension == "length" else _DIFFERENCE
    return _kind(term.word, noun, Unit(term.unit), inch=Unit(term.inch))


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        *(_of_quantity(quantity.term) for quantity in Quantity),
        _kind("slot-height", _LENGTH, Unit.MM, inch=Unit.THOU),
        _kind("pitch-offset", _DIFFERENCE, Unit.CENTS),
        _kind("saddle-height", _LENGTH, Unit.MM, inch=Unit.SIXTYFOURTH),
        _kind("saddle-position", _LENGTH, Unit.MM, inch=Unit.INCH),
        _kind("compensation", _LENGTH, Unit.MM, inch=Unit.THOU),
        _kind("fret-height", _LENGTH, Unit.MM, inch=Unit.THOU),
        _kind("radius", _LENGTH, Unit.MM, inch=Unit.INCH),
        _kind("scale-length", _LENGTH, Unit.MM, inch=Unit.INCH),
        _kind("gauge", _LENGTH, Unit.MM, inch=Unit.THOU),
        _kind("length", _LENGTH, Unit.MM, inch=Unit.INCH),
        _kind("distance", _LENGTH, Unit.MM, inch=Unit.INCH),
        _kind("thickness", _LENGTH, Unit.MM, inch=Unit.THOU),
        _kind("resolution", _LENGTH, Unit.MM, inch=Unit.THOU),
        _kind("thread-pitch", "a length per turn", Unit.MM_PER_TURN),
        _kind("rod-response", "a length per turn", Unit.MM_PER_TURN),
        _kind("compliance", "a length per force", Unit.MM_PER_NEWTON),
        _kind("turns", "a number of turns", Unit.TURN),
        _kind("pitch", "a frequency", Unit.HERTZ),
        _kind("linear-density", "a mass per length", Unit.GRAM_PER_METRE),
        _kind("density", "a mass per volume", Unit.KILOGRAM_PER_CUBIC_METRE),
        _kind("vapour-density", "a mass per volume", Unit.GRAM_PER_CUBIC_METRE),
        _kind("tension", "a force", Unit.NEWTON, inch=Unit.POUND_FORCE),
        _kind("stress", "a force per area", Unit.MEGAPASCAL),
        _kind("modulus", "a force per area", Unit.MEGAPASCAL, metric=Unit.GIGAPASCAL),
        _kind("pressure", "a force per area", Unit.PASCAL),
        _kind("temperature", "a temperature", Unit.CELSIUS, inch=Unit.FAHRENHEIT),
        _kind("relative-humidity", "a percentage", Unit.PERCENT),
        _kind("moisture", "a percentage", Unit.PERCENT),
        _kind("share", "a percentage", Unit.PERCENT),
        _kind("duration", "a time", Unit.MINUTE),
        _kind("period", "a time", Unit.DAY),
    )
}


def _affine(start: Unit, to: Unit) -> tuple[float, float, float]:
    zero, one = (
        Fraction(_registry.Quantity(Fraction(n), _PINT[start]).to(_PINT[to]).magnitude) for n in (0, 1)
    )
    factor, offset = one - zero, zero
    denominator = lcm(factor.denominator, offset.denominator)
    return float(factor * denominator), float(offset * denominator), float(denominator)


# (from, to) -> (a, b, c) of the conversion (a * value + b) / c, for every pair of units of one dimension.
# Whole numbers, so that 6/64 in is 2.38125 mm and not a digit less.
_FACTORS: dict[tuple[Unit, Unit], tuple[float, float, float]] = {
    (start, to): _affine(start, to) for start in Unit for to in Unit if _DIMENSION[start] == _DIMENSION[to]
}


def convert(value: float, start: Unit, to: Unit) -> float:
    """Return a value told in another unit of the same dimension.

    Raises
    ------
    KeyError
        When the units are not of one dimension.

    Examples
    --------
    >>> convert(6, Unit.SIXTYFOURTH, Unit.MM)
    2.38125
    >>> convert(70, Unit.FAHRENHEIT, Unit.CELSIUS)
    21.11111111111111
    """
    factor, offset, divisor = _FACTORS[start, to]
    return (value * factor + offset) / divisor

"""Sentences with numbers in them, kept apart from units so that each owner's units can be written in."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

from ..vocabulary import QUANTITIES, QuantityWord

OtherKind: TypeAlias = Literal[
    "height",
    "distance",
    "radius",
    "gauge",
    "turns",
    "rod-response",
    "pull",
    "compliance",
    "frequency",
    "percent",
    "probability",
    "minutes",
    "humidity",
]
MeasureKind: TypeAlias = QuantityWord | OtherKind


@dataclass(frozen=True)
class Measure:
    """A number with its kind, which fixes its unit and decimals.

    Parameters
    ----------
    kind : str
        What is measured.
    value : float
        How much [unit of the kind, see `UNITS`].
    """

    kind: MeasureKind
    value: float


Value: TypeAlias = Measure | str | int
Writer: TypeAlias = Callable[[Measure], str]

UNITS: dict[str, str] = {
    **{word: term.unit for word, term in QUANTITIES.items()},
    "height": "mm",
    "distance": "mm",
    "radius": "mm",
    "gauge": "mm",
    "turns": "turn",
    "rod-response": "mm/turn",
    "pull": "N",
    "compliance": "mm/N",
    "frequency": "Hz",
    "percent": "percent",
    "probability": "",
    "minutes": "min",
    "humidity": "percent",
}
"""Unit of each kind of measure."""


def write_turns(turns: float) -> str:
    """Turns in eighths, without sign: "1/4", "1 3/8", "5".

    >>> write_turns(-1.375)
    '1 3/8'
    """
    eighths = round(abs(turns) * 8)
    whole, rest = divmod(eighths, 8)
    if rest == 0:
        return str(whole)
    shared = math.gcd(rest, 8)
    fraction = f"{rest // shared}/{8 // shared}"
    return f"{whole} {fraction}" if whole else fraction


def write_measure(measure: Measure) -> str:
    """Write a measure in mm, cents, newtons and eighths of a turn.

    Parameters
    ----------
    measure : Measure
        The number with its kind.

    Examples
    --------
    >>> write_measure(Measure("turns", -0.375))
    '3/8 turn'
    """
    kind, value = measure.kind, measure.value
    if kind == "turns":
        return f"{write_turns(value)} turn" + ("s" if abs(value) > 1 else "")
    if kind == "probability":
        return _write_probability(value)
    if kind in {"percent", "humidity"}:
        return f"{_no_minus_zero(value, 1 if kind == 'percent' else 0)} %"
    if kind == "minutes":
        return f"{value:.0f} min"
    if kind == "intonation":
        return f"{_no_minus_zero(value, 1)} cents"
    if kind in {"pull", "radius"}:
        return f"{_no_minus_zero(value, 0)} {UNITS[kind]}"
    if kind == "compliance":
        return f"{value:.2g} {UNITS[kind]}"
    decimals = 3 if kind == "gauge" else 2
    return f"{_no_minus_zero(value, decimals)} {UNITS[kind]}"


def _write_probability(value: float) -> str:
    if value < 0.01:
        return "< 0.01"
    if value > 0.99:
        return "> 0.99"
    return f"{value:.2f}"


_NEIGHBOURS = re.compile(r"\{(\w+)\}(?= (?:/|±|to|…) \{(\w+)\})")


def _unit(text: str) -> str:
    return text.rpartition(" ")[2] if " " in text else ""


def _no_minus_zero(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}"
    return text[1:] if text.startswith("-") and float(text) == 0 else text


@dataclass(frozen=True)
class Sentence:
    """A template with named places, and what stands in them.

    Parameters
    ----------
    template : str
        Text with `{name}` for each value.
    values : tuple of (name, value)
        Measures, texts and whole numbers.
    """

    template: str
    values: tuple[tuple[str, Value], ...] = ()

    def text(self, write: Writer = write_measure) -> str:
        """Return the sentence with its measures written by `write` (mm, cents and eighths by default)."""
        shown = {
            name: write(value) if isinstance(value, Measure) else str(value) for name, value in self.values
        }
        measured = {name for name, value in self.values if isinstance(value, Measure)}
        for first, second in _NEIGHBOURS.findall(self.template):
            # two neighbours share one unit: 2.03 / 1.73 mm
            if {first, second} <= measured and _unit(shown[first]) == _unit(shown[second]):
                shown[first] = shown[first].rpartition(" ")[0]
        return self.template.format_map(shown)

    def filled(self, more: Mapping[str, Value]) -> Sentence:
        """Return the sentence with further values; a text among its values may name them too."""
        template = self.template
        for name, value in self.values:
            if isinstance(value, str) and "{" in value:
                template = template.replace("{" + name + "}", value)
        return Sentence(template, (*self.values, *more.items()))


def say(template: str, **values: Value) -> Sentence:
    """Make a sentence; values in the order given."""
    return Sentence(template, tuple(values.items()))

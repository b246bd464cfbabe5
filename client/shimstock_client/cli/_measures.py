"""Numbers as people at a bench write them: 2.2mm, 8/64in, 10thou, 0,45, +2.5c."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from .._quantity import Quantity

Dimension = Literal["length", "cents", "turns", "temperature", "humidity"]
Units = Literal["mm", "inch"]

_PLAIN = r"\d+(?:[.,]\d+)?|[.,]\d+"
_NUMBER = re.compile(
    rf"""(?P<sign>[+-])?\s*
    (?:(?P<whole>\d+)[ ]+(?=\d+/\d))?
    (?P<number>{_PLAIN})
    (?:\s*/\s*(?P<below>\d+))?
    \s*(?P<unit>[^\d\s+.,/-].*)?""",
    re.VERBOSE,
)
_UNITS: dict[str, str] = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("in", "inch", "inches", '"'), "in"),
    **dict.fromkeys(("thou", "thousandth", "thousandths"), "thou"),
    "in/64": "in/64",
    **dict.fromkeys(("c", "ct", "cent", "cents"), "cents"),
    **dict.fromkeys(("turn", "turns"), "turn"),
    **dict.fromkeys(("degc", "°c"), "degC"),
    **dict.fromkeys(("degf", "°f", "f"), "degF"),
    **dict.fromkeys(("%", "percent", "%rh"), "percent"),
}
_FITTING: dict[str, tuple[str, ...]] = {
    "length": ("mm", "in", "thou", "in/64"),
    "cents": ("cents",),
    "turns": ("turn",),
    "temperature": ("degC", "degF"),
    "humidity": ("percent",),
}
_EXAMPLES: dict[str, str] = {
    "length": "2.2mm, 8/64in, 0.087in or 10thou",
    "cents": "+2.5 or -3c",
    "turns": "1/4 or 1 3/8",
    "temperature": "21C or 70F",
    "humidity": "45%",
}
_NOUNS: dict[str, str] = {
    "length": "a length",
    "cents": "a difference of pitch in cents",
    "turns": "a number of turns",
    "temperature": "a temperature",
    "humidity": "a relative humidity in percent",
}


class NotUnderstood(ValueError):  # noqa: N818 - named after its cause
    """What was typed is no reading; the message says what would be right."""


@dataclass(frozen=True)
class Expected:
    """What a number is meant to be, and the unit that it has when none is written."""

    what: str
    dimension: Dimension
    unit: str


LONGEST = 40
"""Characters of a number with its unit; more would be beyond all measures."""


def read_measure(text: str, expected: Expected) -> Quantity:
    """Read a number with its unit.

    Parameters
    ----------
    text : str
        As typed [-].
    expected : Expected
        What it should be [-].

    Returns
    -------
    Quantity
        As typed: no conversion, but fractions of an inch in 64ths where they are 2nds to 64ths [unit].

    Raises
    ------
    NotUnderstood
        Naming what would be right.

    >>> read_measure("3/32in", Expected("action", "length", "mm"))
    Quantity(value=6.0, unit='in/64')
    >>> read_measure("0,45", Expected("relief", "length", "mm"))
    Quantity(value=0.45, unit='mm')
    """
    cleaned = _cleaned(text)
    match = _NUMBER.fullmatch(cleaned)
    if match is None or len(cleaned) > LONGEST:
        right = _EXAMPLES[expected.dimension]
        raise NotUnderstood(
            f"{expected.what}: {text.strip()[:LONGEST]!r} is no number; right would be {right}"
        )
    number = _decimal(match["number"]) + 0.0
    unit = _unit(match["unit"], expected)
    sign = -1.0 if match["sign"] == "-" else 1.0
    if match["below"] is not None:
        return _fraction(match, number, sign, unit, expected)
    value, unit = sign * number, unit or expected.unit
    if match["unit"] is None:
        _check_bare(match["number"], value, expected)
    return Quantity(value, unit)


def _cleaned(text: str) -> str:
    for said, meant in (
        ("−", "-"),
        ("–", "-"),
        ("”", '"'),
        ("″", '"'),
        ("''", '"'),
        ("\N{FRACTION SLASH}", "/"),
    ):
        text = text.replace(said, meant)
    return re.sub(r"\s*/?\s*64ths?$", "/64in", text.strip().lower())


def _decimal(text: str) -> float:
    return float(text.replace(",", "."))


def _unit(text: str | None, expected: Expected) -> str | None:
    if text is None:
        return None
    fitting = _FITTING[expected.dimension]
    unit = _UNITS.get(text.strip())
    if unit == "cents" and expected.dimension == "temperature":
        unit = "degC"
    names = ", ".join(fitting)
    if unit is None:
        raise NotUnderstood(f"{expected.what}: the unit {text.strip()!r} is not known; use {names}")
    if unit not in fitting:
        raise NotUnderstood(
            f"{expected.what} is {_NOUNS[expected.dimension]}: use {names}, not {unit} "
            f"({_EXAMPLES[expected.dimension]})"
        )
    return unit


def _fraction(
    match: re.Match[str], number: float, sign: float, unit: str | None, expected: Expected
) -> Quantity:
    below = int(match["below"])
    if below == 0:
        raise NotUnderstood(f"{expected.what}: nothing can be divided by 0")
    value = sign * (int(match["whole"] or 0) + number / below)
    if expected.dimension == "turns":
        return Quantity(value, unit or "turn")
    if expected.dimension != "length":
        raise NotUnderstood(f"{expected.what}: no fraction; right would be {_EXAMPLES[expected.dimension]}")
    if unit is None and below not in (32, 64):
        raise NotUnderstood(f"{expected.what}: write the unit, e.g. {match[0].strip()}in")
    if unit not in (None, "in"):
        raise NotUnderstood(f"{expected.what}: fractions are of an inch, e.g. 8/64in; not of {unit}")
    if 64 % below == 0:
        return Quantity(value * 64, "in/64")
    return Quantity(value, "in")


def _check_bare(number: str, value: float, expected: Expected) -> None:
    # with inches as default a bare 0.010 could be thousandths, inches or mm: asking is better than guessing
    if expected.unit in ("thou", "in/64") and 0 < abs(value) < 1 and any(mark in number for mark in ".,"):
        raise NotUnderstood(
            f"{expected.what}: {number} of what? Write the unit: {number}in, {number}mm or {number}thou"
        )

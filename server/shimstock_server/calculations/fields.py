"""Fields of questions and results: quantities with their range, told with more digits than a reading has."""

from __future__ import annotations

import math
from typing import Any

from shimstock_server.web.context import current
from shimstock_server.web.fields import Choice, ListOf, StrictField, StrictSchema, Text, ValidationError
from shimstock_server.web.quantities import Quantity, QuantityIn, QuantityOut
from shimstock_server.web.typed import QuantityBeside
from shimstock_server.web.units import KINDS, convert, decimals

__all__ = [
    "AskedBeside",
    "Question",
    "Result",
    "StrictField",
    "Told",
    "asked",
    "calculated",
    "told",
    "told_beside",
]

_MORE_DECIMALS = 3
"""Beyond those of a reading: a program goes on from a result, and its rounding must not show there."""
_DIGITS = 6
"""Significant digits that every result has at the least, however small it is."""
_MOST_DECIMALS = 12
"""A float's last digits lie beyond: what is nothing but them is answered as 0."""


def asked(kind: str, low: float, high: float, about: str, **options: Any) -> QuantityIn:
    """Return the field of a quantity that is given.

    Parameters
    ----------
    kind : str
        The kind, of `KINDS`.
    low, high : float
        Bounds in the unit that is kept.
    about : str
        What it is, in the trade's words.
    **options
        `required=True`, or `load_default` as a `Quantity`; without either it may be left out.
    """
    unit = KINDS[kind].unit
    return QuantityIn(
        kind,
        min=low,
        max=high,
        metadata={"description": f"{about}; {low:g} to {high:g} {unit}."},
        **options,
    )


class AskedBeside(QuantityBeside):
    """A quantity that is given, of the kind that a field beside it names.

    Parameters
    ----------
    kinds : tuple of str
        The kinds that it can be.
    low, high : float
        Bounds in the kept unit of whichever it is.
    about : str
        What it is.
    """

    def __init__(self, kinds: tuple[str, ...], low: float, high: float, about: str, **options: Any) -> None:
        self.min, self.max = low, high
        self.units = tuple(dict.fromkeys(unit.value for kind in kinds for unit in KINDS[kind].accepted))
        metadata = {"description": f"{about}; of the kind that `quantity` names, {low:g} to {high:g}."}
        super().__init__(metadata=metadata, **options)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **options: Any) -> Quantity:
        quantity = super()._deserialize(value, attr, data, **options)
        if not self.min <= quantity.value <= self.max:
            raise ValidationError(
                {"value": [f"must be from {self.min:g} to {self.max:g} in mm, cents or percent"]}
            )
        return quantity


def _rounded(number: float, fewest: int) -> float:
    """Return a number with `fewest` decimals, or as many as it takes to keep its first digits."""
    places = fewest
    if number and math.isfinite(number):
        places = max(fewest, _DIGITS - 1 - math.floor(math.log10(abs(number))))
    return round(number, min(places, _MOST_DECIMALS)) + 0.0


class Told(QuantityOut):
    """A quantity of a result: three more decimals than a reading, and six significant digits at the least."""

    def _serialize(self, value: Any, attr: str | None, obj: Any, **options: Any) -> dict[str, Any] | None:
        rounded = super()._serialize(value, attr, obj, **options)
        if rounded is None:
            return None
        kind = KINDS[self.kind_name or str(obj[self.kind_from])]
        unit = kind.out(current.units)
        number = _rounded(convert(value, kind.unit, unit), decimals(unit) + _MORE_DECIMALS)
        return {"value": number, "unit": unit.value}


def told_beside(about: str, *, maybe: bool = False) -> Told:
    """Return the field of a quantity that is answered, of the kind that `quantity` beside it names."""
    return Told(kind_from="quantity", allow_none=maybe, metadata={"description": f"{about}."})


def told(kind: str, about: str, *, maybe: bool = False) -> Told:
    """Return the field of a quantity that is answered; `maybe` when it can be null."""
    return Told(kind, allow_none=maybe, metadata={"description": f"{about}."})


class Question(StrictSchema):
    """What a calculation takes. Every quantity is given with `asked`, every list is bounded."""


class Result(StrictSchema):
    """What a calculation answers, with where it comes from and how far it can be trusted."""

    source = ListOf(
        Text(max=500), metadata={"x-name": "Source", "description": "Where the formula is published."}
    )
    validity = Text(max=1000, metadata={"x-name": "Validity", "description": "Where the formula holds."})
    note = ListOf(
        Text(max=1000),
        metadata={
            "x-name": "Notes",
            "description": "What to know about this answer, such as values beyond the formula's range.",
        },
    )


def calculated(*words: str) -> Choice:
    """Return the field that says what was calculated."""
    return Choice(words, metadata={"description": "What was calculated from what was given."})

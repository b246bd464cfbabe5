"""Quantities at the border: {"value", "unit"} in, one kept unit inside, the reader's units out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from marshmallow import ValidationError, missing
from marshmallow.utils import get_value

from .context import current
from .fields import StrictField, finite_number
from .units import KINDS, Kind, Unit, convert, decimals

__all__ = [
    "KINDS",
    "QUANTITY_SCHEMA",
    "AnyQuantity",
    "Kind",
    "Quantity",
    "QuantityIn",
    "QuantityOut",
    "TypedOut",
    "Unit",
    "convert",
    "read_quantity",
    "to_unit",
    "write",
]

# No reading, no property of a wood and no time of a job comes near; keeps sums and products finite.
_LARGEST = 1e9

QUANTITY_SCHEMA: dict[str, Any] = {
    "type": "object",
    "description": "A measured or computed value with its unit.",
    "properties": {
        "value": {"type": "number", "minimum": -_LARGEST, "maximum": _LARGEST},
        "unit": {"type": "string", "enum": [unit.value for unit in Unit]},
    },
    "required": ["unit", "value"],
    "additionalProperties": False,
}

_REFERENCE = {"$ref": "#/components/schemas/Quantity"}


@dataclass(frozen=True)
class Quantity:
    """A value as it was typed, and the same in the unit that is kept."""

    value: float
    typed_value: float
    typed_unit: Unit


class QuantityIn(StrictField):
    """A quantity that is sent.

    Parameters
    ----------
    kind : str
        The kind, of `KINDS`.
    min, max : float, optional
        Bounds in the unit that is kept.
    """

    def __init__(
        self,
        kind: str,
        *,
        min: float | None = None,  # noqa: A002
        max: float | None = None,  # noqa: A002
        **kwargs: Any,
    ) -> None:
        self.kind = KINDS[kind]
        self.min, self.max = min, max
        super().__init__(**kwargs)

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> Quantity:
        return read_quantity(value, self.kind, low=self.min, high=self.max)

    def _serialize(self, value: Any, *_args: Any, **_kwargs: Any) -> Any:
        if value is None or isinstance(value, Mapping):
            return value
        return {"value": value.typed_value, "unit": str(value.typed_unit)}

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field: the component, narrowed to the units that fit."""
        accepted = [unit.value for unit in self.kind.accepted]
        low, high = _bounds_in_words(self.kind, self.min, self.max)
        return {
            **_REFERENCE,
            "description": f"{self.kind.words.capitalize()} in {_list(accepted)}{low}{high}.",
            "properties": {"unit": {"enum": accepted}},
        }


def read_quantity(value: Any, kind: Kind, *, low: float | None = None, high: float | None = None) -> Quantity:
    """Return what was sent as a quantity of that kind.

    Raises
    ------
    ValidationError
        When it is no object of value and unit, when the unit does not fit, or when it lies out of bounds.
    """
    if not isinstance(value, dict):
        raise ValidationError(f'must be an object such as {{"value": 1.7, "unit": "{kind.unit}"}}')
    errors: dict[str, list[str]] = {
        name: ["is not a field here"] for name in value if name not in ("value", "unit")
    }
    number, unit = 0.0, kind.unit
    try:
        number = finite_number(value["value"])
        if abs(number) > _LARGEST:
            errors["value"] = [f"must be from {-_LARGEST:g} to {_LARGEST:g}"]
    except KeyError:
        errors["value"] = ["is required"]
    except ValidationError as error:
        errors["value"] = [str(message) for message in error.messages]
    try:
        unit = _read_unit(value["unit"], kind)
    except KeyError:
        errors["unit"] = [f"is required: use {_list(kind.accepted)}"]
    except ValidationError as error:
        errors["unit"] = [str(message) for message in error.messages]
    if errors:
        raise ValidationError(dict(errors))
    kept = convert(number, unit, kind.unit)
    if (low is not None and kept < low - 1e-9) or (high is not None and kept > high + 1e-9):
        raise ValidationError({"value": [_out_of_bounds(kind, unit, low, high)]})
    return Quantity(kept, number, unit)


def _read_unit(text: Any, kind: Kind) -> Unit:
    try:
        unit = Unit(text) if isinstance(text, str) else None
    except ValueError:
        unit = None
    if unit is None:
        raise ValidationError(f"must be one of {', '.join(kind.accepted)}")
    if unit not in kind.accepted:
        raise ValidationError(f"{kind.words} is {kind.noun}: use {_list(kind.accepted)}, not {unit}")
    return unit


def _out_of_bounds(kind: Kind, unit: Unit, low: float | None, high: float | None) -> str:
    def told(bound: float) -> str:
        return f"{convert(bound, kind.unit, unit):.6g} {unit}"

    if low is not None and high is not None:
        return f"must be from {told(low)} to {told(high)}"
    return f"must be at least {told(low)}" if low is not None else f"must be at most {told(high or 0.0)}"


def _bounds_in_words(kind: Kind, low: float | None, high: float | None) -> tuple[str, str]:
    return (
        f", at least {low:g} {kind.unit}" if low is not None else "",
        f", at most {high:g} {kind.unit}" if high is not None else "",
    )


def _list(words: Any) -> str:
    told = [str(word) for word in words]
    return told[0] if len(told) == 1 else ", ".join(told[:-1]) + " or " + told[-1]


class AnyQuantity(StrictField):
    """A quantity that is sent, whose kind another field names: read with `read_quantity` once it is known."""

    def _deserialize(self, value: Any, *_args: Any, **_kwargs: Any) -> Any:
        return value

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field: the component."""
        return dict(_REFERENCE)


class QuantityOut(StrictField):
    """A quantity that is answered: from a float in the kept unit to the units of the request.

    Parameters
    ----------
    kind : str, optional
        The kind, of `KINDS`.
    kind_from : str, optional
        The attribute of the object, beside this one, that names the kind instead.
    """

    def __init__(self, kind: str | None = None, *, kind_from: str | None = None, **kwargs: Any) -> None:
        if (kind is None) == (kind_from is None):
            raise TypeError("give a kind or the attribute that names it")
        if kind is not None and kind not in KINDS:
            raise KeyError(kind)
        self.kind_name, self.kind_from = kind, kind_from
        super().__init__(**kwargs)

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_kwargs: Any) -> dict[str, Any] | None:
        if value is None:
            return None
        name = self.kind_name
        if self.kind_from is not None:
            name = get_value(obj, self.kind_from)
            if name is missing:
                raise KeyError(f"{self.kind_from} names the kind of {attr} and is not there")
        return to_unit(str(getattr(name, "value", name)), value, current.units)

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field: the component, narrowed to the units that it is told in."""
        if self.kind_name is None:
            return dict(_REFERENCE)
        kind = KINDS[self.kind_name]
        told = list(dict.fromkeys((kind.metric.value, kind.inch.value)))
        return {**_REFERENCE, "properties": {"unit": {"enum": told}}}


class TypedOut(StrictField):
    """A quantity as it was typed.

    Parameters
    ----------
    value_from, unit_from : str
        The attributes that hold the value and the unit as typed.
    """

    _CHECK_ATTRIBUTE = False

    def __init__(self, value_from: str = "typed_value", unit_from: str = "typed_unit", **kwargs: Any) -> None:
        self.value_from, self.unit_from = value_from, unit_from
        super().__init__(dump_only=True, **kwargs)

    def _serialize(self, value: Any, attr: str | None, obj: Any, **_kwargs: Any) -> dict[str, Any] | None:  # noqa: ARG002
        typed, unit = get_value(obj, self.value_from), get_value(obj, self.unit_from)
        if typed in (None, missing) or unit in (None, missing):
            return None
        return {"value": typed, "unit": str(getattr(unit, "value", unit))}

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return dict(_REFERENCE)


def to_unit(kind: str, value: float, units: str = "mm") -> dict[str, Any]:
    """Return a value in the kept unit as the object that goes out, in the reader's units.

    Examples
    --------
    >>> to_unit("action", 1.5875, "inch")
    {'value': 4.0, 'unit': 'in/64'}
    >>> to_unit("relief", 0.2)
    {'value': 0.2, 'unit': 'mm'}
    """
    told = KINDS[kind].out(units)
    # + 0.0 turns the -0.0 of a rounded tiny negative into 0.0.
    return {"value": round(convert(value, KINDS[kind].unit, told), decimals(told)) + 0.0, "unit": told.value}


# Decimals in a sentence, where they differ from those of an answer.
_SPOKEN = {
    Unit.MM: 2,
    Unit.INCH: 3,
    Unit.SIXTYFOURTH: 1,
    Unit.CENTS: 1,
    Unit.HERTZ: 2,
    Unit.CELSIUS: 1,
    Unit.FAHRENHEIT: 0,
    Unit.PERCENT: 0,
    Unit.NEWTON: 0,
    Unit.POUND_FORCE: 1,
    Unit.GRAM_PER_METRE: 3,
    Unit.KILOGRAM_PER_CUBIC_METRE: 0,
    Unit.GRAM_PER_CUBIC_METRE: 1,
    Unit.MEGAPASCAL: 0,
    Unit.GIGAPASCAL: 1,
    Unit.PASCAL: 0,
    Unit.MM_PER_TURN: 2,
    Unit.MINUTE: 0,
    Unit.HOUR: 1,
    Unit.DAY: 0,
}
_SIGNS = {
    Unit.CELSIUS: " °C",
    Unit.FAHRENHEIT: " °F",
    Unit.PERCENT: " %",
    Unit.SIXTYFOURTH: "/64 in",
    Unit.KILOGRAM_PER_CUBIC_METRE: " kg/m³",
    Unit.GRAM_PER_CUBIC_METRE: " g/m³",
}
# Readings keep their zeros (0.20 mm): they tell how fine the tool was. Dimensions drop them (25.5 in).
_DIMENSIONS = frozenset({"radius", "scale-length", "length", "distance", "gauge", "thickness", "fret-height"})


def write(kind: str, value: float, units: str = "mm") -> str:
    """Return a value in the kept unit as it stands in a sentence.

    Examples
    --------
    >>> write("relief", 0.35), write("relief", 0.35, "inch")
    ('0.35 mm', '13.8 thou')
    >>> write("action", 2.18281, "inch")
    '5.5/64 in'
    >>> write("turns", 0.25), write("turns", -1.125), write("turns", 0.166)
    ('1/4 turn', '-1 1/8 turns', '0.17 turn')
    """
    told = KINDS[kind].out(units)
    number = convert(value, KINDS[kind].unit, told)
    if told is Unit.TURN:
        return _write_turns(number)
    text = f"{number:.{_SPOKEN.get(told, decimals(told))}f}"
    if "." in text and (kind in _DIMENSIONS or told in (Unit.SIXTYFOURTH, Unit.INCH, Unit.DAY, Unit.HOUR)):
        text = text.rstrip("0").rstrip(".")
    if float(text) == 0:
        text = text.removeprefix("-")
    if told is Unit.DAY and text != "1":
        return text + " days"
    return text + _SIGNS.get(told, f" {told}")


def _write_turns(number: float) -> str:
    sign = "-" if number < 0 else ""
    size = abs(number)
    eighths = round(size * 8)
    if eighths == 0 or abs(size * 8 - eighths) > 1e-6:
        return f"{sign if round(size, 2) else ''}{size:.2f} turn{'s' if size > 1 else ''}"
    whole, rest = divmod(eighths, 8)
    fraction = {0: "", 1: "1/8", 2: "1/4", 3: "3/8", 4: "1/2", 5: "5/8", 6: "3/4", 7: "7/8"}[rest]
    text = " ".join(part for part in (str(whole) if whole else "", fraction) if part)
    return f"{sign}{text} turn{'s' if size > 1 else ''}"

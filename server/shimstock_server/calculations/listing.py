"""The list of calculations: each with its fields, their units and range, its source and an example."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import marshmallow

from shimstock_server.web.fields import (
    Choice,
    ListOf,
    MapOf,
    Nested,
    Number,
    StrictSchema,
    Text,
    Truth,
    Whole,
)
from shimstock_server.web.quantities import QuantityIn
from shimstock_server.web.units import Unit

from .entry import AnyOf, Calculation, OneOf, Way
from .fields import AskedBeside, StrictField

_TYPES: tuple[tuple[type[Any], str], ...] = (
    (QuantityIn, "quantity"),
    (AskedBeside, "quantity"),
    (Whole, "whole number"),
    (Number, "number"),
    (Choice, "choice"),
    (Truth, "truth"),
    (Text, "text"),
    (ListOf, "list"),
    (MapOf, "object"),
    (Nested, "object"),
)


class AnyJson(StrictField):
    """A piece of JSON as it is."""

    def _serialize(self, value: Any, *_: Any, **__: Any) -> Any:
        return value

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return {"type": "object", "additionalProperties": True}


class CalculationFieldOut(StrictSchema):
    """A field of a calculation's body; `strings[].gauge` is the gauge of each entry of `strings`."""

    name = Text()
    about = Text(max=2000)
    type = Choice(tuple(dict.fromkeys(word for _, word in _TYPES)))
    required = Truth(metadata={"description": "Whether every body has it; others depend on what is asked."})
    units = ListOf(Choice([unit.value for unit in Unit]))
    minimum = Number(allow_none=True)
    maximum = Number(allow_none=True)
    range_unit = Text(allow_none=True, metadata={"description": "The unit of minimum and maximum."})
    choices = ListOf(Text())


class CalculationWayOut(StrictSchema):
    """A direction in which a calculation can be asked."""

    calculates = Text()
    from_fields = ListOf(Text(), metadata={"description": "`a | b`: one of them; `a & b`: one or both."})


class CalculationExampleOut(StrictSchema):
    """A body and its answer in mm."""

    body = AnyJson()
    answer = AnyJson()


class CalculationOut(StrictSchema):
    """A calculation of the service."""

    name = Text()
    path = Text()
    title = Text()
    about = Text(max=2000)
    ways = ListOf(Nested(CalculationWayOut))
    fields_ = ListOf(Nested(CalculationFieldOut), data_key="fields")
    source = ListOf(Text(max=500))
    validity = Text(max=1000)
    example = Nested(CalculationExampleOut)


class CalculationList(StrictSchema):
    """Every calculation of the service."""

    items = ListOf(Nested(CalculationOut))


def show(calculation: Calculation) -> dict[str, Any]:
    """Return an entry of the list as its schema dumps it."""
    example = calculation.example
    return {
        "name": calculation.name,
        "path": f"/v1{calculation.path}",
        "title": calculation.title,
        "about": calculation.about,
        "ways": [_way(way) for way in calculation.ways],
        "fields_": list(fields_of(calculation.question())),
        "source": calculation.source,
        "validity": calculation.validity,
        "example": {"body": example["body"], "answer": whole_answer(calculation)},
    }


def whole_answer(calculation: Calculation) -> dict[str, Any]:
    """Return the example's answer with what every answer has."""
    shared = {"source": list(calculation.source), "validity": calculation.validity}
    return {**shared, **calculation.example["answer"]}


def _way(way: Way) -> dict[str, Any]:
    def told(need: str | OneOf | AnyOf) -> str:
        if isinstance(need, str):
            return need
        return (" & " if isinstance(need, AnyOf) else " | ").join(need.fields)

    return {"calculates": way.finds, "from_fields": [told(need) for need in way.needs]}


def fields_of(schema: marshmallow.Schema, above: str = "") -> Iterator[dict[str, Any]]:
    """Yield every field of a body, those inside lists and objects too."""
    for key, field in schema.fields.items():
        yield from _field(above + (field.data_key or key), field, required=field.required)


def _field(name: str, field: Any, *, required: bool) -> Iterator[dict[str, Any]]:
    quantity = isinstance(field, QuantityIn)
    bounded = isinstance(field, (QuantityIn, AskedBeside, Whole, Number))
    units = field.kind.accepted if quantity else getattr(field, "units", ())
    yield {
        "name": name,
        "about": str(field.metadata.get("description", "")),
        "type": next(word for kind, word in _TYPES if isinstance(field, kind)),
        "required": required,
        "units": [str(unit) for unit in units],
        "minimum": field.min if bounded else None,
        "maximum": field.max if bounded else None,
        "range_unit": field.kind.unit.value if quantity else None,
        "choices": list(field.choices) if isinstance(field, Choice) else [],
    }
    if isinstance(field, ListOf):
        inner = field.inner
        if isinstance(inner, Nested):
            yield from fields_of(inner.schema, f"{name}[].")
        else:
            yield from _field(f"{name}[]", inner, required=True)
    elif isinstance(field, Nested):
        yield from fields_of(field.schema, f"{name}.")

"""Fields that the catalogue adds: quantities whose kind stands beside them, and values as typed."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any

import marshmallow
from marshmallow import ValidationError
from marshmallow import fields as base

from shimstock_server.web.fields import StrictField, StrictSchema
from shimstock_server.web.quantities import KINDS, Quantity, read_quantity

_REFERENCE = {"$ref": "#/components/schemas/Quantity"}


class QuantityBeside(StrictField):
    """A quantity that is sent, of the kind that a field beside it names.

    Parameters
    ----------
    kind_from : str
        The field of the same object that holds the kind's word.
    """

    def __init__(self, kind_from: str = "quantity", **kwargs: Any) -> None:
        self.kind_from = kind_from
        super().__init__(**kwargs)

    def _deserialize(self, value: Any, attr: str | None, data: Any, **_: Any) -> Quantity:  # noqa: ARG002
        word = data.get(self.kind_from) if isinstance(data, Mapping) else None
        kind = KINDS.get(word) if isinstance(word, str) else None
        if kind is None:
            raise ValidationError(f"cannot be read without a {self.kind_from}")
        return read_quantity(value, kind)

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return dict(_REFERENCE)


class AsTyped(StrictField):
    """A quantity as it was typed, kept as value and unit."""

    def _serialize(self, value: Any, *_: Any, **__: Any) -> dict[str, Any] | None:
        return None if value is None else {"value": value["value"], "unit": value["unit"]}

    def openapi(self) -> dict[str, Any]:
        """Return the JSON Schema of this field."""
        return dict(_REFERENCE)


def without_defaults(schema: type[StrictSchema], name: str, doc: str) -> type[StrictSchema]:
    """Make the schema of a change: the same fields, none required, none filled in.

    Parameters
    ----------
    schema : type of StrictSchema
        The schema of what is created.
    name : str
        The new schema's name.
    doc : str
        What it is for.
    """
    declared: dict[str, base.Field[Any]] = {}
    for field_name, field in schema._declared_fields.items():
        changed = copy.deepcopy(field)
        changed.required = False
        changed.load_default = marshmallow.missing
        declared[field_name] = changed
    return type(name, (StrictSchema,), {**declared, "__doc__": doc, "__module__": schema.__module__})

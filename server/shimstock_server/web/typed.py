"""Between what was typed and what is kept; schemas of a change."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from enum import Enum
from typing import Any

import marshmallow
from marshmallow import ValidationError
from marshmallow import fields as base

from .fields import StrictField, StrictSchema
from .quantities import KINDS, Quantity, read_quantity

Typed = dict[str, dict[str, Any]]


def kept(sent: Any) -> tuple[Any, Typed]:
    """Split what was sent into plain values and the quantities as typed.

    Parameters
    ----------
    sent : dict, list or value
        As deserialised: quantities inside at any depth.

    Returns
    -------
    values
        The same shape with floats in the kept units and words as text.
    typed : dict
        Path of each quantity (`bridge/post_spacing`) to the value and unit that were typed.

    Examples
    --------
    >>> from shimstock_server.web.units import Unit
    >>> kept({"bridge": {"post_spacing": Quantity(74.0, 74, Unit.MM)}})
    ({'bridge': {'post_spacing': 74.0}}, {'bridge/post_spacing': {'value': 74, 'unit': 'mm'}})
    """
    typed: Typed = {}
    return _plain(sent, "", typed), typed


def _plain(sent: Any, path: str, typed: Typed) -> Any:
    if isinstance(sent, Quantity):
        typed[path] = {"value": sent.typed_value, "unit": str(sent.typed_unit)}
        return sent.value
    if isinstance(sent, Enum):
        return sent.value
    if isinstance(sent, Mapping):
        return {name: _plain(below, _join(path, name), typed) for name, below in sent.items()}
    if isinstance(sent, (list, tuple)):
        return [_plain(below, _join(path, n), typed) for n, below in enumerate(sent)]
    return sent


def _join(path: str, name: object) -> str:
    return f"{path}/{name}" if path else str(name)


def retyped(before: Mapping[str, Any], changed: Mapping[str, Any], typed: Typed) -> dict[str, Any]:
    """Return what was typed after a change: fields that were sent lose what they had and take what is new."""
    left = {path: value for path, value in before.items() if path.split("/", 1)[0] not in changed}
    return left | typed


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

"""The client's records against the published document: every member is of the kind that it names."""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Iterator
from datetime import date, datetime
from importlib import import_module
from pkgutil import iter_modules
from typing import Any

import pytest

import shimstock_client
from shimstock_client._quantity import Quantity
from shimstock_client._wire import Record
from tests.house.files import CHECKOUT

SCHEMAS: dict[str, Any] = json.loads((CHECKOUT / "openapi" / "shimstock.json").read_text())["components"][
    "schemas"
]
KINDS = {str: "string", bool: "boolean", int: "integer", float: "number", datetime: "string", date: "string"}


def records() -> list[type[Record]]:
    """Return every record of the client."""
    for module in iter_modules(shimstock_client.__path__):
        if not module.ispkg:
            import_module(f"shimstock_client.{module.name}")
    return sorted(set(_below(Record)), key=lambda record: record.__name__)


def _below(record: type[Record]) -> Iterator[type[Record]]:
    for each in record.__subclasses__():
        yield each
        yield from _below(each)


def members(record: type[Record]) -> dict[str, Any]:
    """Return what each member is annotated as, without None."""
    hints = typing.get_type_hints(record)
    return {name.rstrip("_"): _present(hint) for name, hint in hints.items() if name not in {"raw", "etag"}}


def _present(hint: Any) -> Any:
    if isinstance(hint, types.UnionType):
        return next(each for each in typing.get_args(hint) if each is not type(None))
    return hint


def schema_of(record: type[Record]) -> dict[str, Any]:
    """Return the schema of the same name, else the one that has most members in common."""
    names = set(members(record))

    def shared(name: str) -> float:
        there = set(SCHEMAS[name].get("properties", ()))
        return len(names & there) / len(names | there)

    return SCHEMAS[record.__name__ if record.__name__ in SCHEMAS else max(SCHEMAS, key=shared)]


def kinds_of(schema: dict[str, Any]) -> set[str]:
    """Return the kinds of JSON that a schema allows, without null."""
    while "$ref" in schema:
        schema = SCHEMAS[schema["$ref"].rsplit("/", 1)[1]]
    several = schema.get("anyOf") or schema.get("oneOf") or schema.get("allOf")
    if several:
        return set().union(*(kinds_of(each) for each in several)) - {"null"}
    kind = schema.get("type", [])
    return set([kind] if isinstance(kind, str) else kind) - {"null"}


def kind_of(hint: Any) -> str:
    """Return the kind of JSON that an annotation stands for."""
    origin = typing.get_origin(hint)
    if origin is list:
        return "array"
    if origin is dict or hint is Quantity or issubclass(hint, Record):
        return "object"
    return KINDS[hint]


@pytest.mark.parametrize("record", records(), ids=lambda record: record.__name__)
def test_a_record_has_the_kinds_of_the_document(record: type[Record]) -> None:
    properties = schema_of(record).get("properties", {})
    for name, hint in members(record).items():
        if name in properties and hint is not Any:
            allowed = {kind_of(hint)} | ({"integer"} if hint is float else set())
            assert kinds_of(properties[name]) <= allowed, f"{record.__name__}.{name}"

"""Whole numbers that no column holds are refused, wherever a request may carry one."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from flask import Flask

from shimstock_server.operations.admin import current_document
from tests.server.clients import Client, pointers
from tests.server.workshop import case_one_readings, set_up, sheet

DOCUMENT = json.loads(current_document())
SMALLEST, LARGEST = -(2**31), 2**31 - 1
"""Of PostgreSQL's `integer` (PostgreSQL 15 manual, table 8.2)."""

IN_A_BIGINT = {"StudyIn.seed"}
TOO_LARGE = [2**31, 2**53, 2**63 - 1, 2**63, 2**64, 10**30]
TOO_SMALL = [-(2**31) - 1, -(2**63), -(2**63) - 1]


def integers(schema: dict[str, Any], where: str, inside: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    """Yield the place and the schema of every whole number in a schema."""
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[-1]
        if name not in inside:
            yield from integers(DOCUMENT["components"]["schemas"][name], name, (*inside, name))
        return
    kinds = schema.get("type", [])
    if "integer" in ([kinds] if isinstance(kinds, str) else kinds):
        yield where, schema
    for part in ("oneOf", "anyOf", "allOf"):
        for each in schema.get(part, []):
            yield from integers(each, where, inside)
    for name, each in schema.get("properties", {}).items():
        yield from integers(each, f"{where}.{name}", inside)
    for part in ("items", "additionalProperties"):
        if isinstance(schema.get(part), dict):
            yield from integers(schema[part], where, inside)


def operations() -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield method, path and description of every operation."""
    for path, item in DOCUMENT["paths"].items():
        for method, operation in item.items():
            if isinstance(operation, dict):
                yield method.upper(), path, operation


def parameters(operation: dict[str, Any]) -> list[dict[str, Any]]:
    known = DOCUMENT["components"].get("parameters", {})
    return [known[each["$ref"].rsplit("/", 1)[-1]] if "$ref" in each else each
            for each in operation.get("parameters", [])]  # fmt: skip


def sent() -> Iterator[tuple[str, Any]]:
    """Yield every whole number that a request may carry."""
    for method, path, operation in operations():
        for each in parameters(operation):
            yield from integers(each["schema"], f"{method} {path} {each['name']}")
        for body in operation.get("requestBody", {}).get("content", {}).values():
            yield from integers(body.get("schema", {}), f"{method} {path}")


def test_every_whole_number_has_the_bounds_of_its_column() -> None:
    found = dict(sent())
    assert len(found) > 100
    wider = {
        where
        for where, schema in found.items()
        if not SMALLEST <= schema.get("minimum", -(2**64)) <= schema.get("maximum", 2**64) <= LARGEST
    }
    assert wider == IN_A_BIGINT


ASKED = [
    (method, path, each["name"])
    for method, path, operation in operations()
    for each in parameters(operation)
    if each["in"] == "query" and "{" not in path and list(integers(each["schema"], ""))
]


def test_a_number_that_no_column_holds_is_refused_in_every_query(app: Flask, client: Client) -> None:
    assert ("GET", "/v1/jobs", "number") in ASKED
    for method, path, name in ASKED:
        for value in (*TOO_LARGE, *TOO_SMALL, -1, LARGEST):
            answer = client.open(method, path, query_string={name: str(value)})
            told = f"{method} {path}?{name}={value}: {answer.status_code}"
            if SMALLEST <= value <= LARGEST:
                assert answer.status_code < 500, told
            elif method == "GET":
                assert answer.status_code == 422, told
                assert answer.get_json()["errors"][0]["pointer"] == f"/query/{name}", told
            else:
                assert 400 <= answer.status_code < 500, told


def test_a_number_that_no_column_holds_is_refused_in_a_body(client: Client) -> None:
    shop = set_up(client)
    path = f"/v1/jobs/{shop.queued_job()['id']}/reading-sheets"
    reading = case_one_readings(shop)[1]
    for name in ("string", "fret", "capo"):
        for value in (*TOO_LARGE, *TOO_SMALL):
            answer = client.post(path, json=sheet([reading | {name: value}]))
            assert answer.status_code == 422, f"{name} {value}: {answer.get_data(as_text=True)}"
            assert f"/readings/0/{name}" in pointers(answer)

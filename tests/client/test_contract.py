"""The client against the published document: generated from it, whole, and of its kinds."""

from __future__ import annotations

import copy
import json
import subprocess
import sys
import types
import typing
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest

import shimstock_client
from shimstock_client import Booking, Instrument, Job, Record, SetupSpec
from shimstock_client._contract import HOMES, SOURCES
from shimstock_client._quantity import Quantity
from tests.house.files import CHECKOUT

DOCUMENT: dict[str, Any] = json.loads((CHECKOUT / "openapi" / "shimstock.json").read_text())
SCHEMAS: dict[str, Any] = DOCUMENT["components"]["schemas"]
KINDS = {str: "string", bool: "boolean", int: "integer", float: "number", datetime: "string", date: "string"}
GENERATOR = CHECKOUT / "client" / "generate.py"


def resolved(schema: dict[str, Any]) -> dict[str, Any]:
    """Return a schema behind its references."""
    while "$ref" in schema:
        schema = SCHEMAS[schema["$ref"].rsplit("/", 1)[1]]
    return schema


def records() -> dict[str, type[Record]]:
    """Return every generated record by its name."""
    named = {
        name: getattr(shimstock_client, name) for name, home in HOMES.items() if home.startswith("records")
    }
    return {name: thing for name, thing in named.items() if is_dataclass(thing)}


def answered() -> dict[str, str]:
    """Return the record of each schema."""
    return {schema: record for record, schemas in SOURCES.items() for schema in schemas.split()}


def kinds_of(schema: dict[str, Any]) -> set[str]:
    """Return the kinds of JSON that a schema allows, without null."""
    schema = resolved(schema)
    several = schema.get("anyOf") or schema.get("oneOf") or schema.get("allOf")
    if several:
        return set().union(*(kinds_of(each) for each in several)) - {"null"}
    kind = schema.get("type", [])
    return set([kind] if isinstance(kind, str) else kind) - {"null"}


def kind_of(hint: Any) -> str:
    """Return the kind of JSON that an annotation stands for."""
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union:
        return kind_of(next(each for each in typing.get_args(hint) if each is not type(None)))
    origin = typing.get_origin(hint)
    if origin is typing.Literal:
        return "string"
    if origin is list:
        return "array"
    if origin is dict or hint is Quantity or typing.is_typeddict(hint) or issubclass(hint, Record):
        return "object"
    return KINDS[hint]


@pytest.mark.parametrize(("schema", "record"), sorted(answered().items()))
def test_a_record_has_every_member_of_its_schema(schema: str, record: str) -> None:
    kind = records()[record]
    hints = typing.get_type_hints(kind)
    there = {one.name.rstrip("_"): hints[one.name] for one in fields(kind)}
    for name, member in SCHEMAS[schema]["properties"].items():
        assert name in there, f"{record} lacks {name} of {schema}"
        if there[name] is not Any:
            allowed = {kind_of(there[name])} | ({"integer"} if kind_of(there[name]) == "number" else set())
            assert kinds_of(member) <= allowed, f"{record}.{name}"


def test_every_answer_has_a_record() -> None:
    # straight from the document: what succeeds with one JSON object, or a page of them, under /v1
    named = set()
    for path, item in DOCUMENT["paths"].items():
        for method, operation in item.items():
            if method == "parameters" or not path.startswith("/v1/"):
                continue
            if {"calculations", "board", "curves"} & set(operation["tags"]):
                continue
            for status, response in operation["responses"].items():
                whole = response
                while "$ref" in whole:
                    whole = DOCUMENT["components"]["responses"][whole["$ref"].rsplit("/", 1)[1]]
                content = whole.get("content", {}).get("application/json")
                if status.startswith("2") and content and "$ref" in content["schema"]:
                    schema = resolved(content["schema"])
                    name = content["schema"]["$ref"].rsplit("/", 1)[1]
                    if set(schema["properties"]) <= {"items", "next"}:
                        name = schema["properties"]["items"]["items"]["$ref"].rsplit("/", 1)[1]
                    named.add(name)
    assert len(named) > 60
    assert named <= set(answered())


def test_what_earlier_records_lacked_is_there() -> None:
    instrument = Instrument.from_wire(
        {"id": "i", "bridge": {"springs": 3}, "truss_rod": {"dead": False}, "named_consents": True}
    )
    assert (instrument.bridge["springs"], instrument.named_consents) == (3, True)  # type: ignore[typeddict-item]
    job = Job.from_wire({"id": "j", "late_minutes": 7, "readings_asked": ["relief"], "look": "settle-hour"})
    assert (job.late_minutes, job.readings_asked, job.look) == (7, ["relief"], "settle-hour")
    assert Job().late_minutes is None
    assert Booking().card_path is None


def test_a_word_of_a_newer_service_is_passed_on() -> None:
    job = Job.from_wire({"id": "j", "state": "resting-in-oil", "skills": ["setup", "lacquer"]})
    assert (job.state, job.skills) == ("resting-in-oil", ["setup", "lacquer"])


def test_quantities_under_names_are_quantities() -> None:
    spec = SetupSpec.from_wire({"items": [{"typed": {"target": {"value": 8, "unit": "thou"}}}]})
    assert spec.items[0].typed == {"target": Quantity(8, "thou")}


def generate(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the generator."""
    return subprocess.run(
        [sys.executable, str(GENERATOR), *arguments], capture_output=True, text=True, check=False
    )


def test_the_committed_code_is_what_the_document_says() -> None:
    ended = generate("--check")
    assert ended.returncode == 0, ended.stderr


def test_a_document_that_says_more_is_noticed(tmp_path: Path) -> None:
    document = copy.deepcopy(DOCUMENT)
    document["components"]["schemas"]["JobOut"]["properties"]["shelf"] = {"type": "string"}
    ended = generate("--check", str(_written(document, tmp_path)))
    assert ended.returncode != 0
    assert "records/jobs.py" in ended.stderr


def test_it_does_not_matter_what_the_document_shares(tmp_path: Path) -> None:
    # every response, parameter, header and body becomes a component of its own, and no default says null
    document = copy.deepcopy(DOCUMENT)
    components = document["components"]
    for item in document["paths"].values():
        for method, operation in item.items():
            holders = [(item, "parameters", "parameters")] if method == "parameters" else [
                (operation, "parameters", "parameters"), (operation, "requestBody", "requestBodies"),
                (operation, "responses", "responses"),
            ]  # fmt: skip
            for holder, member, kind in holders:
                if member in holder:
                    holder[member] = _shared(holder[member], components.setdefault(kind, {}), kind)
    _without_null_defaults(document)
    ended = generate("--check", str(_written(document, tmp_path)))
    assert ended.returncode == 0, ended.stderr


def _shared(value: Any, kept: dict[str, Any], kind: str) -> Any:
    if isinstance(value, list):
        return [_shared(each, kept, kind) for each in value]
    if kind == "responses":
        return {status: _shared(each, kept, "response") for status, each in value.items()}
    if "$ref" in value:
        return value
    kind = "responses" if kind == "response" else kind
    kept[f"Shared{len(kept)}"] = value
    return {"$ref": f"#/components/{kind}/Shared{len(kept) - 1}"}


def _without_null_defaults(node: Any) -> None:
    if isinstance(node, dict):
        if node.get("default", 0) is None:
            del node["default"]
        for each in node.values():
            _without_null_defaults(each)
    elif isinstance(node, list):
        for each in node:
            _without_null_defaults(each)


def _written(document: dict[str, Any], folder: Path) -> Path:
    path = folder / "document.json"
    path.write_text(json.dumps(document))
    return path

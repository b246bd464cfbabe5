"""Writes every header, parameter and response of the OpenAPI document once, and refers to it elsewhere."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from typing import Any

QUANTITY = "#/components/schemas/Quantity"

Place = tuple[Any, Any]
"""A dict or a list, and the key or the index at which something stands in it."""


def operations_of(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield every operation: those of the paths, then those of the webhooks."""
    for section in ("paths", "webhooks"):
        for item in document.get(section, {}).values():
            yield from (operation for method, operation in item.items() if method != "parameters")


def share(document: dict[str, Any]) -> dict[str, Any]:
    """Return the document with references to the components in the place of what stands in it several times.

    A component is named by the `x-name` of what is moved, or else by its `name`; where several share a name,
    the second and later ones have a number behind it. Of the schemas' fields those alone are moved whose
    metadata hold an `x-name`: a word that so many schemas have in common that it deserves a name; and
    quantities of the same units, named after these.
    """
    document = copy.deepcopy(document)  # the operations keep their descriptions for the next one
    _share_fields(document["components"]["schemas"])
    _share_units(document)
    operations = list(operations_of(document))
    responses: list[Place] = [
        (each["responses"], status) for each in operations for status in each["responses"]
    ]
    headers: list[Place] = []
    for holder, status in responses:
        found = holder[status].get("headers", {})
        headers += [(found, name) for name in found]
    lists = [each["parameters"] for each in operations if "parameters" in each]
    lists += [item["parameters"] for item in document.get("paths", {}).values() if "parameters" in item]
    parameters: list[Place] = [(each, n) for each in lists for n in range(len(each))]
    for section, places in (("headers", headers), ("parameters", parameters), ("responses", responses)):
        document["components"][section] = _move(section, places)
    return document


def resolve(document: dict[str, Any], part: Any) -> Any:
    """Return a part of the document, or what it refers to when it is a reference."""
    while isinstance(part, dict) and "$ref" in part:
        found: Any = document
        for step in part["$ref"].removeprefix("#/").split("/"):
            found = found[step]
        part = found
    return part


def _share_fields(schemas: dict[str, Any]) -> None:
    named: dict[str, Any] = {}
    for schema in schemas.values():
        fields = schema.get("properties", {})
        for field, told in fields.items():
            if (name := told.pop("x-name", None)) is None:
                continue
            if name in schemas or named.setdefault(name, told) != told:
                raise TypeError(f"{field} is called {name}, and so is another schema")
            fields[field] = {"$ref": f"#/components/schemas/{name}"}
    schemas |= named


def _share_units(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    named: dict[str, Any] = {}
    for part in [part for part in _parts(document) if part.get("$ref") == QUANTITY and "properties" in part]:
        narrowed = part.pop("properties")
        name = _name({"name": " ".join(["quantity in", *narrowed["unit"]["enum"]])}, "")
        if name in schemas or named.setdefault(name, narrowed) != narrowed:
            raise TypeError(f"{name} is the name of another schema")
        part["$ref"] = f"#/components/schemas/{name}"
    schemas |= {name: {"$ref": QUANTITY, "properties": narrowed} for name, narrowed in named.items()}


def _parts(tree: Any) -> Iterator[dict[str, Any]]:
    if isinstance(tree, dict):
        yield tree
    for below in tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else ():
        yield from _parts(below)


def _move(section: str, places: list[Place]) -> dict[str, Any]:
    alike: dict[str, list[Place]] = {}
    for holder, key in places:
        alike.setdefault(json.dumps(holder[key], sort_keys=True), []).append((holder, key))
    components: dict[str, Any] = {}
    for text, same in sorted(alike.items()):
        part = json.loads(text)
        name = _name(part, str(same[0][1]))
        part.pop("x-name", None)
        if len(same) == 1:
            holder, key = same[0]
            holder[key] = part
            continue
        name = next(each for each in _numbered(name) if each not in components)
        components[name] = part
        for holder, key in same:
            holder[key] = {"$ref": f"#/components/{section}/{name}"}
    return components


def _name(part: dict[str, Any], key: str) -> str:
    words = re.split(r"[^A-Za-z0-9]+", str(part.get("x-name") or part.get("name") or key))
    return "".join(word[:1].upper() + word[1:] for word in words)


def _numbered(name: str) -> Iterator[str]:
    yield name
    number = 2
    while True:
        yield f"{name}{number}"
        number += 1

"""The OpenAPI document with its references resolved wherever they stand."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

Schema = dict[str, Any]


class Document:
    """The OpenAPI document with its references."""

    def __init__(self, tree: Schema) -> None:
        self.tree = tree
        self.schemas: dict[str, Schema] = tree["components"]["schemas"]

    def resolve(self, node: Any) -> Any:
        """Follow the `$ref` of a schema, parameter, response, header or body, however often."""
        while isinstance(node, dict) and "$ref" in node:
            found: Any = self.tree
            for part in node["$ref"].removeprefix("#/").split("/"):
                found = found[part.replace("~1", "/").replace("~0", "~")]
            node = found
        return node

    def operations(self) -> Iterator[tuple[str, str, Schema]]:
        """Walk method, path and operation of everything under /v1 that the SDK reads into records."""
        for path, item in self.tree["paths"].items():
            for method, operation in self.resolve(item).items():
                if method in {"get", "post", "put", "patch", "delete"} and path.startswith("/v1/"):
                    shared = self.resolve(item).get("parameters", [])
                    told = [self.resolve(one) for one in [*shared, *operation.get("parameters", [])]]
                    yield method, path, {**operation, "parameters": told}

    def answer_of(self, operation: Schema) -> Schema | None:
        """Return the JSON schema of what an operation answers when it succeeds."""
        for status, response in sorted(operation["responses"].items()):
            found = self.resolve(response).get("content", {}).get("application/json")
            if status.startswith("2") and found:
                return dict(found["schema"])
        return None

    def body_of(self, operation: Schema) -> Schema | None:
        """Return the JSON schema of what an operation takes."""
        found = self.resolve(operation.get("requestBody", {})).get("content", {}).get("application/json")
        return dict(found["schema"]) if found else None

    def name_of(self, schema: Schema) -> str | None:
        """Return the component that a schema refers to, through nullable wrappings."""
        if "$ref" in schema:
            name = str(schema["$ref"]).rsplit("/", 1)[1]
            further = self.schemas.get(name, {})
            return self.name_of(further) if "$ref" in further else name
        for one in schema.get("anyOf", schema.get("oneOf", schema.get("allOf", []))):
            if name_within := self.name_of(one):
                return name_within
        return None

    def tags(self) -> list[str]:
        """Return the tags in the document's order."""
        used = [operation["tags"][0] for _, _, operation in self.operations()]
        return [*dict.fromkeys([*(tag["name"] for tag in self.tree.get("tags", [])), *used])]


def is_quantity(schema: Schema) -> bool:
    """Tell whether a schema is a number with its unit."""
    return set(schema.get("properties", ())) == {"value", "unit"}


def is_nullable(schema: Schema) -> bool:
    """Tell whether null is allowed."""
    several = schema.get("anyOf", schema.get("oneOf", []))
    return "null" in types_of(schema) or any("null" in types_of(one) for one in several)


def types_of(schema: Schema) -> list[str]:
    kind = schema.get("type", [])
    return [kind] if isinstance(kind, str) else kind

"""From a schema to the annotation of a field."""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable, Iterator
from typing import Any

from .document import Document, Schema, is_nullable, is_quantity, types_of
from .names import DICTIONARIES, RECORDS, SENT, SETS, WORDS


def camel(text: str) -> str:
    """Turn words with any separator into CamelCase."""
    return "".join(part[:1].upper() + part[1:] for part in re.split(r"[^A-Za-z0-9]+", text) if part)


def module_of(tag: str) -> str:
    """Return the module of a tag."""
    return re.sub(r"[^a-z]+", "_", tag.lower().replace("'", "")).strip("_")


def said(schema: Schema, indent: str) -> list[str]:
    """Return a description as a docstring below what it describes."""
    text = " ".join(str(schema.get("description", "")).split()).replace("\\", "\\\\").replace('"""', "'''")
    if not text:
        return []
    if text.endswith('"'):
        text += " "
    lines = textwrap.wrap(text, 110 - len(indent) - 6)
    if len(lines) == 1:
        return [f'{indent}"""{lines[0]}"""']
    return [f'{indent}"""{lines[0]}', *(indent + line for line in lines[1:]), f'{indent}"""']


class Words:
    """The closed sets of text, each under one name."""

    def __init__(self, reserved: Iterable[str]) -> None:
        self.names: dict[tuple[str, ...], str] = {}
        self.reserved = frozenset(reserved)

    def name(self, values: list[Any], field: str, owner: str) -> str:
        """Return the name of a set, given by the first field that holds it."""
        words = tuple(str(value) for value in values if value is not None)
        if words not in self.names:
            plain = SETS.get(words[0], WORDS.get(field, camel(field)))
            stem = re.sub(r"(Out|In|Change|Patch)$", "", owner)
            candidates = [
                plain,
                RECORDS.get(owner, stem) + camel(field),
                stem + camel(field),
                owner + camel(field),
            ]
            if (
                field in {"state", "kind", "kinds", "code", "type", "what", "scope", "part", "use", "level"}
                and words[0] not in SETS
            ):
                candidates = candidates[1:]
            taken = {*self.names.values(), *self.reserved}
            self.names[words] = next(one for one in candidates if one not in taken)
        return self.names[words]

    def lines(self) -> Iterator[str]:
        """Write them."""
        for words, name in sorted(self.names.items(), key=lambda item: item[1]):
            yield f"{name} = Literal[{', '.join(json.dumps(word, ensure_ascii=False) for word in words)}]"


class Writer:
    """Turns schemas into annotations and classes."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.words = Words([*document.schemas, *(self.record_name(name) for name in document.schemas)])

    def record_name(self, schema: str) -> str:
        """Return the record of a schema."""
        return RECORDS.get(schema, schema.removesuffix("Out"))

    def body_name(self, schema: str) -> str:
        """Return the body of a schema."""
        return f"{schema}In" if schema in DICTIONARIES else schema

    def answered(self, schema: Schema, field: str, owner: str) -> tuple[str, str]:
        """Return the annotation and the default of a field of a record."""
        kind, default = self._answered(schema, field, owner)
        if kind != "Any" and (is_nullable(schema) or default == "None"):
            return f"{kind} | None", "None"
        return kind, default

    def _answered(self, schema: Schema, field: str, owner: str) -> tuple[str, str]:
        whole = self.document.resolve(self._inner(schema))
        name = self.document.name_of(schema)
        if is_quantity(whole):
            return "Quantity", "None"
        if name and "properties" in whole:
            if name in DICTIONARIES:
                return self.record_name(name), "field(default_factory=empty)"
            return self.record_name(name), f"field(default_factory={self.record_name(name)})"
        if "enum" in whole:
            return self.words.name(whole["enum"], field, owner), "UNKNOWN"
        kinds = [kind for kind in types_of(whole) if kind != "null"]
        if kinds == ["array"]:
            inner, _ = self.answered(whole.get("items", {}), field, owner)
            return f"list[{inner}]", "field(default_factory=list)"
        if kinds == ["object"]:
            more = whole.get("additionalProperties")
            inner = self._answered(more, field, owner)[0] if isinstance(more, dict) and more else "Any"
            return f"dict[str, {inner}]", "field(default_factory=dict)"
        if kinds == ["string"]:
            formats = {"date-time": ("datetime", "None"), "date": ("date", "None")}
            return formats.get(whole.get("format", ""), ("str", '""'))
        simple = {"integer": ("int", "0"), "number": ("float", "0.0"), "boolean": ("bool", "False")}
        return simple.get(kinds[0] if len(kinds) == 1 else "", ("Any", "None"))

    def travelling(self, schema: Schema, field: str, owner: str) -> str:
        """Return the annotation of a field of a dictionary out of an answer."""
        whole = self.document.resolve(self._inner(schema))
        name = self.document.name_of(schema)
        none = " | None" if is_nullable(schema) else ""
        if is_quantity(whole):
            return f"QuantityDict{none}"
        if name and "properties" in whole:
            return f"{self.record_name(name)}{none}"
        if "enum" in whole:
            return self.words.name(whole["enum"], field, owner) + none
        kinds = [kind for kind in types_of(whole) if kind != "null"]
        if kinds == ["array"]:
            return f"list[{self.travelling(whole.get('items', {}), field, owner)}]{none}"
        if kinds == ["object"]:
            more = whole.get("additionalProperties")
            inner = self.travelling(more, field, owner) if isinstance(more, dict) and more else "Any"
            return f"dict[str, {inner}]"
        return _PLAIN.get(kinds[0] if len(kinds) == 1 else "", "Any") + none

    def taken(self, schema: Schema, field: str, owner: str) -> str:
        """Return the annotation of a field of a body."""
        whole = self.document.resolve(self._inner(schema))
        name = self.document.name_of(schema)
        none = " | None" if is_nullable(schema) else ""
        if is_quantity(whole):
            return f"Quantity | QuantityDict{none}"
        if name and "properties" in whole:
            body = self.body_name(name)
            return (f"{SENT[name]} | {body}" if name in SENT else body) + none
        if "enum" in whole:
            return self.words.name(whole["enum"], field, owner) + none
        kinds = [kind for kind in types_of(whole) if kind != "null"]
        if kinds == ["array"]:
            return f"Sequence[{self.taken(whole.get('items', {}), field, owner)}]{none}"
        if kinds == ["object"]:
            return f"Mapping[str, Any]{none}"
        formats = {"date-time": "datetime | str", "date": "date | str", "uuid": "UUID | str"}
        if kinds == ["string"]:
            return formats.get(whole.get("format", ""), "str") + none
        return _PLAIN.get(kinds[0] if len(kinds) == 1 else "", "Any") + none

    def _inner(self, schema: Schema) -> Schema:
        """Return a schema without the wrapping that allows null."""
        several = [one for one in schema.get("anyOf", schema.get("oneOf", [])) if types_of(one) != ["null"]]
        return several[0] if len(several) == 1 else schema


_PLAIN = {"string": "str", "integer": "int", "number": "float", "boolean": "bool"}

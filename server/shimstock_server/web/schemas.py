"""The base of every schema: strict about what comes in, complete in what goes out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, ClassVar

import marshmallow

from .problems import FieldError, pointer


class StrictSchema(marshmallow.Schema):
    """A schema that refuses unknown fields.

    Its class name is its name in the OpenAPI document, so it is unique in the whole service.
    """

    EXAMPLE: ClassVar[dict[str, Any] | None] = None
    """A body as it is sent, for the OpenAPI document; every test run loads it."""

    class Meta:
        unknown = marshmallow.RAISE

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.error_messages.update(unknown="is not a field here", type="must be an object")

    @classmethod
    def component_name(cls) -> str:
        """Return this schema's name in the OpenAPI document."""
        return cls.__name__.removesuffix("Schema")


def field_errors(messages: Any, *above: str | int) -> list[FieldError]:
    """Flatten marshmallow's nested messages into one entry per field, each with its JSON Pointer."""
    return [{"pointer": pointer(*path), "message": message} for path, message in _flatten(messages, above)]


def _flatten(messages: Any, path: tuple[str | int, ...]) -> Iterator[tuple[tuple[str | int, ...], str]]:
    if isinstance(messages, Mapping):
        for name, below in messages.items():
            yield from _flatten(below, path if name == "_schema" else (*path, name))
    elif isinstance(messages, (list, tuple)):
        for message in messages:
            yield from _flatten(message, path)
    else:
        yield path, str(messages)


def without_secrets(schema: StrictSchema, tree: Any) -> Any | None:
    """Return a dumped tree with its secret fields set to null, or None when it has none."""
    secrets = [
        field.data_key or name for name, field in schema.fields.items() if field.metadata.get("secret")
    ]
    if not secrets or not isinstance(tree, dict):
        return None
    return {name: None if name in secrets else value for name, value in tree.items()}

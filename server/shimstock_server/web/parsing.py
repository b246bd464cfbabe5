"""What a request brings, read strictly: JSON bodies, query parameters, headers."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from itertools import islice
from typing import Any
from urllib.parse import unquote_to_bytes
from uuid import UUID

import marshmallow
from flask import Request
from werkzeug.exceptions import RequestEntityTooLarge

from .fields import ListOf, StrictField
from .problems import (
    MOST_ERRORS,
    BadIdempotencyKey,
    BadJson,
    FieldError,
    InvalidFields,
    TooLarge,
    UnsupportedMedia,
    pointer,
)
from .schemas import StrictSchema, field_errors

_INT64 = 2**63


class _Refused:
    """Stands in the parsed tree where JSON allows something that the service does not."""

    def __init__(self, message: str) -> None:
        self.message = message


def read_json(request: Request, *, max_depth: int, max_body: int) -> Any:
    """Return the parsed body.

    Raises
    ------
    UnsupportedMedia, TooLarge, BadJson
        In this order.
    InvalidFields
        For numbers, texts and nesting that JSON knows and the service does not take.
    """
    if request.mimetype != "application/json":
        raise UnsupportedMedia()
    if request.mimetype_params.get("charset", "utf-8").lower() not in ("utf-8", "utf8"):
        raise UnsupportedMedia("JSON is sent in UTF-8.")
    if request.headers.get("Content-Encoding", "identity").lower() != "identity":
        raise UnsupportedMedia("Send the body without a content encoding.")
    return parse_json(read_bytes(request, max_body), max_depth=max_depth)


def read_text(request: Request, types: tuple[str, ...], *, max_body: int) -> str:
    """Return a file that is sent as it is: UTF-8, else Latin-1, which old weather files are written in.

    Raises
    ------
    UnsupportedMedia, TooLarge
        In this order.
    InvalidFields
        When it holds NUL, which no text does.
    """
    data = read_file(request, types, max_body=max_body)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    if "\x00" in text:
        raise InvalidFields.at("", f"holds NUL: this is no text; send the file as {' or '.join(types)}")
    return text


def read_file(request: Request, types: tuple[str, ...], *, max_body: int) -> bytes:
    """Return a file that is sent as it is.

    Raises
    ------
    UnsupportedMedia, TooLarge
        In this order.
    """
    if request.mimetype not in types:
        raise UnsupportedMedia(f"Send the file as it is, as {' or '.join(types)}.")
    if request.headers.get("Content-Encoding", "identity").lower() != "identity":
        raise UnsupportedMedia("Send the file without a content encoding.")
    return read_bytes(request, max_body)


def read_bytes(request: Request, max_body: int) -> bytes:
    """Return the body's bytes, refusing more than the limit before reading it.

    A body in chunks does not say its length: one byte more than the limit is read, and tells.
    """
    request.max_content_length = max_body + 1
    try:
        data = request.get_data(cache=False)
    except RequestEntityTooLarge:
        data = None
    if data is None or len(data) > max_body:
        raise TooLarge(f"A body has at most {max_body} bytes.")
    return data


def parse_json(data: bytes, *, max_depth: int = 32) -> Any:
    """Parse JSON strictly.

    Raises
    ------
    BadJson
        When it is not JSON in UTF-8.
    InvalidFields
        With a pointer to every NaN, infinity, integer beyond 64 bits, field given twice, NUL, lone surrogate,
        and to what is nested too deep.
    """
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise BadJson(f"The body is not UTF-8: byte {error.start} fits no character.") from None
    try:
        tree = json.loads(
            text,
            parse_constant=lambda name: _Refused(f"must be a finite number, not {name}"),
            parse_int=_whole,
            parse_float=_float,
            object_pairs_hook=_object,
        )
    except json.JSONDecodeError as error:
        raise BadJson(
            f"The body is not JSON: {error.msg} at line {error.lineno}, column {error.colno}."
        ) from None
    except RecursionError:
        raise InvalidFields.at("", f"must be nested at most {max_depth} deep") from None
    errors = list(islice(_refusals(tree, max_depth), MOST_ERRORS + 1))
    if errors:
        raise InvalidFields(errors=errors)
    return tree


def _whole(digits: str) -> Any:
    if len(digits) <= 20 and -_INT64 <= (number := int(digits)) < _INT64:
        return number
    return _Refused("must be a whole number of at most 64 bits")


def _float(text: str) -> Any:
    number = float(text)
    return number if math.isfinite(number) else _Refused("must be a finite number")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        found[name] = _Refused("is given twice") if name in found else value
    return found


def _refusals(tree: Any, max_depth: int) -> Iterator[FieldError]:
    """Walk the tree without recursion; its depth is what is in question."""
    open_: list[tuple[tuple[str | int, ...], Any]] = [((), tree)]
    while open_:
        path, value = open_.pop()
        if isinstance(value, _Refused):
            yield {"pointer": _safe_pointer(path), "message": value.message}
        elif isinstance(value, str):
            if message := _bad_text(value):
                yield {"pointer": _safe_pointer(path), "message": message}
        elif isinstance(value, (dict, list)):
            if len(path) >= max_depth:
                yield {"pointer": _safe_pointer(path), "message": f"must be nested at most {max_depth} deep"}
                continue
            pairs = value.items() if isinstance(value, dict) else enumerate(value)
            for name, below in pairs:
                if isinstance(name, str) and (message := _bad_text(name)):
                    yield {"pointer": _safe_pointer(path), "message": f"has a field whose name {message}"}
                open_.append(((*path, name), below))


def _bad_text(text: str) -> str | None:
    if "\x00" in text:
        return "must not hold NUL"
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return "must not hold half of a surrogate pair"
    return None


def _safe_pointer(path: tuple[str | int, ...]) -> str:
    # cut first: a thousand errors below a name of a megabyte would make a thousand copies of it
    text = (
        pointer(*(part[:500] if isinstance(part, str) else part for part in path))
        .encode("utf-8", "replace")
        .decode("utf-8")
    )
    return text if len(text) <= 500 else text[:499] + "…"


def load(schema: StrictSchema, tree: Any) -> tuple[Any, list[FieldError]]:
    """Return the deserialised body and the errors, of which one is empty."""
    try:
        return schema.load(tree), []
    except marshmallow.ValidationError as error:
        return None, field_errors(error.messages)


def load_query(schema: StrictSchema | None, request: Request) -> tuple[Any, list[FieldError]]:
    """Return the deserialised query parameters and the errors, of which one is empty.

    ``units`` is taken everywhere and handled by the mechanism.
    """
    fields = schema.fields if schema is not None else {}
    by_name = {field.data_key or name: field for name, field in fields.items()}
    tree: dict[str, Any] = {}
    errors: list[FieldError] = []
    try:
        unquote_to_bytes(request.query_string).decode("utf-8")
    except UnicodeDecodeError:
        errors.append({"pointer": "/query", "message": "must be UTF-8, percent-encoded"})
    for name, texts in request.args.lists():
        field = by_name.get(name)
        if field is None:
            if name != "units":
                errors.append({"pointer": pointer("query", name), "message": "is not a parameter here"})
        elif isinstance(field, ListOf):
            tree[name] = [_from_text(field.inner, text) for text in texts]
        elif len(texts) > 1:
            errors.append({"pointer": pointer("query", name), "message": "is given twice"})
        else:
            tree[name] = _from_text(field, texts[0])
    if schema is None:
        return None, errors
    try:
        return schema.load(tree), errors
    except marshmallow.ValidationError as error:
        return None, errors + field_errors(error.messages, "query")


def _from_text(field: Any, text: str) -> Any:
    return field.from_text(text) if isinstance(field, StrictField) else text


def read_units(request: Request) -> tuple[str | None, list[FieldError]]:
    """Return the units that the request asks for, if it does."""
    asked = request.args.getlist("units")
    if not asked:
        return None, []
    if len(asked) > 1 or asked[0] not in ("mm", "inch"):
        return None, [{"pointer": "/query/units", "message": "must be mm or inch"}]
    return asked[0], []


_KEY_CHARACTERS = re.compile(r"[\x21-\x7e]([\x20-\x7e]{0,198}[\x21-\x7e])?")


def read_idempotency_key(request: Request) -> str | None:
    """Return the Idempotency-Key, without its quotes, or None when there is none.

    Raises
    ------
    BadIdempotencyKey
        When it is empty, too long, or not printable ASCII.

    Notes
    -----
    The header is a structured string in quotes (draft-ietf-httpapi-idempotency-key-header-07, section 2.1);
    many clients send it bare, so both are taken as the same key.
    """
    text = request.headers.get("Idempotency-Key")
    if text is None:
        return None
    text = text.strip()
    if len(text) >= 2 and text[0] == text[-1] == '"':
        text = text[1:-1].replace('\\"', '"').replace("\\\\", "\\")
    if not _KEY_CHARACTERS.fullmatch(text):
        raise BadIdempotencyKey()
    return text


_UUID = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")


def read_uuid(text: str) -> UUID | None:
    """Return a UUID written in its usual form, or None."""
    return UUID(text) if _UUID.fullmatch(text) else None

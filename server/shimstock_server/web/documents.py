"""The OpenAPI document: made from the operations themselves, so that it cannot say anything else."""

from __future__ import annotations

import inspect
import json
import re
from typing import TYPE_CHECKING, Any

import marshmallow

from .problems import (
    BadIdempotencyKey,
    BadJson,
    DatabaseAway,
    DiskFull,
    Forbidden,
    IdempotencyKeyMissing,
    InvalidCursor,
    InvalidFields,
    KeyReused,
    NotFound,
    PreconditionFailed,
    PreconditionRequired,
    Problem,
    RequestInProgress,
    TechnicianRequired,
    TooLarge,
    TooManyRequests,
    Unauthorized,
    UnsupportedMedia,
)
from .sharing import share

if TYPE_CHECKING:
    from .operation import Operation

PROBLEM_SCHEMA: dict[str, Any] = {
    "type": "object",
    "description": "What went wrong (RFC 9457). Further members belong to single problems.",
    "properties": {
        "type": {
            "type": "string",
            "format": "uri-reference",
            "description": "Where the problem is explained.",
        },
        "code": {"type": "string", "description": "The last part of `type`: what a program decides by."},
        "title": {"type": "string"},
        "status": {"type": "integer", "minimum": 400, "maximum": 599},
        "detail": {"type": "string", "description": "What was wrong this time, and what would be right."},
        "instance": {
            "type": "string",
            "format": "uri-reference",
            "description": "The address that was asked.",
        },
        "request_id": {"type": "string", "description": "The request's name in the service's logs."},
        "errors": {
            "type": "array",
            "description": "Every bad field, 1000 at most. Pointers under /query and /header name parameters "
            "and headers.",
            "items": {
                "type": "object",
                "properties": {
                    "pointer": {"type": "string", "format": "json-pointer"},
                    "message": {"type": "string"},
                },
                "required": ["message", "pointer"],
            },
        },
    },
    "required": ["code", "detail", "instance", "request_id", "status", "title", "type"],
}

_UNITS = {
    "name": "units",
    "in": "query",
    "required": False,
    "description": "The units of the answer; the key's own by default.",
    "schema": {"type": "string", "enum": ["mm", "inch"]},
}
_REQUEST_ID = {
    "name": "Request-Id",
    "in": "header",
    "required": False,
    "description": (
        "Your name for this request: 8 to 64 letters, digits, dots, hyphens, underscores. It comes back and "
        "stands in the logs; another one is replaced."
    ),
    "schema": {"type": "string"},
}
_TECHNICIAN = {
    "name": "Technician",
    "in": "header",
    "required": False,
    "description": "The id of the technician who does it: a bench key must name one, a website's may not.",
    "schema": {"type": "string", "format": "uuid"},
}
_IDEMPOTENCY_KEY = {
    "name": "Idempotency-Key",
    "in": "header",
    "required": True,
    "description": "A name of your own for this request; sent again with the same one, it is done only once.",
    "schema": {"type": "string", "minLength": 1, "maxLength": 200, "pattern": "^[!-~]([ -~]*[!-~])?$"},
}
_IDEMPOTENCY_KEY_OPTIONAL = {**_IDEMPOTENCY_KEY, "x-name": "IdempotencyKeyOptional", "required": False}
_IF_MATCH = {
    "name": "If-Match",
    "in": "header",
    "required": True,
    "description": "The ETag of what you read and now change, with its quotes.",
    "schema": {"type": "string", "pattern": '^"[!#-~]+"$'},
}
_IF_MATCH_LATER = {
    **_IF_MATCH,
    "x-name": "IfMatchLater",
    "required": False,
    "description": "The ETag of what you read and now change, with its quotes. The first needs none, every "
    "later one does.",
}
_IF_NONE_MATCH = {
    "name": "If-None-Match",
    "in": "header",
    "required": False,
    "description": "The ETag that you hold; the same version answers 304 without a body.",
    "schema": {"type": "string"},
}


def describe(operation: Operation) -> dict[str, Any]:
    """Return the OpenAPI operation object, with schema instances where apispec puts references."""
    doc: dict[str, Any] = {
        "operationId": operation.view.__name__,
        "parameters": list(_parameters(operation)),
        "responses": _responses(operation),
        "security": [{"key": []}] if operation.keyed else [],
    }
    if operation.body is not None:
        content: dict[str, Any] = {"schema": operation.body}
        if operation.body.EXAMPLE is not None:
            content["example"] = operation.body.EXAMPLE
        doc["requestBody"] = {"required": True, "content": {"application/json": content}}
    if operation.text or operation.binary:
        files = {kind: {"schema": {"type": "string"}} for kind in operation.text}
        files |= {kind: {"schema": {"type": "string", "format": "binary"}} for kind in operation.binary}
        doc["requestBody"] = {"required": True, "content": files}
    summary, description = _docstring(operation)
    doc["summary"] = summary
    who = _who(operation)
    doc["description"] = f"{description}\n\n{who}" if description else who
    return doc


def _docstring(operation: Operation) -> tuple[str, str]:
    text = inspect.cleandoc(operation.view.__doc__ or "")
    if not text:
        raise TypeError(f"{operation.method} {operation.rule}: a view says in its docstring what it does")
    first, _, rest = text.partition("\n\n")
    return " ".join(first.split()), rest.strip()


def _who(operation: Operation) -> str:
    if operation.scopes is None:
        return "Needs no key."
    if not operation.scopes:
        return "Needs a key of any scope."
    return "Needs a key of scope " + " or ".join(f"`{scope}`" for scope in operation.scopes) + "."


def _parameters(operation: Operation) -> Any:
    if operation.query is not None:
        yield {"in": "query", "schema": operation.query}
    if operation.keyed:
        yield _UNITS
    if operation.writes and operation.keyed:
        yield _IDEMPOTENCY_KEY if operation.creates == "key" else _IDEMPOTENCY_KEY_OPTIONAL
        yield _TECHNICIAN
    if operation.edits:
        yield _IF_MATCH
    elif PreconditionRequired in operation.conflicts:
        yield _IF_MATCH_LATER
    if 304 in operation.answers or (operation.method == "GET" and operation.keyed):
        yield _IF_NONE_MATCH
    yield _REQUEST_ID


_HEADERS = {
    "Request-Id": {"schema": {"type": "string"}, "description": "The request's name in the service's logs."},
    "ETag": {"schema": {"type": "string"}, "description": "The version, for If-Match and If-None-Match."},
    "Location": {
        "schema": {"type": "string", "format": "uri-reference"},
        "description": "Where the new object is.",
    },
    "Idempotent-Replayed": {
        "schema": {"type": "string", "enum": ["true"]},
        "description": "Given when this is the kept answer of an earlier request under the same key.",
    },
    "Link": {"schema": {"type": "string"}, "description": 'The next page (rel="next"), when there is one.'},
    "Retry-After": {"schema": {"type": "integer"}, "description": "Seconds to wait before the next try."},
}


def _responses(operation: Operation) -> dict[str, Any]:
    responses: dict[str, Any] = {}
    for status, schema in operation.answers.items():
        responses[str(status)] = _success(operation, status, schema)
    if 304 in operation.answers or (operation.method == "GET" and operation.keyed):
        responses["304"] = {
            "x-name": "NotChanged",
            "description": "Not changed since the version that you hold.",
        }
    by_status: dict[int, list[type[Problem]]] = {}
    for problem in problems_of(operation):
        by_status.setdefault(problem.status, []).append(problem)
    for status, problems in sorted(by_status.items()):
        # A page for people may tell of a problem in its own way.
        told = responses.get(str(status), {}).get("content", {})
        responses[str(status)] = _failure(status, problems)
        responses[str(status)]["content"] |= told
    return responses


def _success(operation: Operation, status: int, schema: marshmallow.Schema | None) -> dict[str, Any]:
    names = ["Request-Id"]
    if status != 204:
        names.append("ETag")
    if status == 201:
        names.append("Location")
    if operation.writes and operation.keyed:
        names.append("Idempotent-Replayed")
    if schema is not None and getattr(schema, "is_page", False):
        names = ["Request-Id", "Link"]
    response: dict[str, Any] = {
        "x-name": f"{_TITLES.get(status, 'Done.').partition(';')[0]} {_shown(operation, schema)}",
        "description": _TITLES.get(status, "Done."),
        "headers": {name: _HEADERS[name] for name in names},
    }
    content: dict[str, Any] = {}
    for media_type in operation.types if status not in (204, 304) else ():
        if media_type == "application/json":
            content[media_type] = {"schema": schema if schema is not None else {"type": "object"}}
        else:
            content[media_type] = {"schema": {"type": "string"}}
    if content:
        response["content"] = content
    return response


def _shown(operation: Operation, schema: marshmallow.Schema | None) -> str:
    return operation.types[0] if schema is None else str(type(schema).__name__)


_TITLES = {
    200: "Done.",
    201: "Created.",
    202: "Taken on; it is being worked at.",
    204: "Done; there is nothing to show.",
}


def _failure(status: int, problems: list[type[Problem]]) -> dict[str, Any]:
    headers = ["Request-Id"]
    if status in (429, 503) or any(problem is RequestInProgress for problem in problems):
        headers.append("Retry-After")
    return {
        "x-name": problems[0].code if len(problems) == 1 else _family(problems[0]),
        "description": "\n\n".join(f"`{problem.code}`: {problem.meaning()}" for problem in problems),
        "headers": {name: _HEADERS[name] for name in headers},
        "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }


def _family(problem: type[Problem]) -> str:
    """Return the name of the first class of that status: `Conflict`, of a `RequestInProgress`."""
    return next(
        each.__name__ for each in reversed(problem.mro()) if issubclass(each, Problem) and each is not Problem
    )


def problems_of(operation: Operation) -> list[type[Problem]]:
    """Return every problem that the mechanism or the area can answer to this operation."""
    found: list[type[Problem]] = [InvalidFields]
    if operation.keyed:
        found += [Unauthorized, TooManyRequests]
    if operation.scopes:
        found.append(Forbidden)
    if "<" in operation.rule:
        found.append(NotFound)
    if operation.body is not None:
        found += [BadJson, TooLarge, UnsupportedMedia]
    elif operation.method != "GET":
        found += [TooLarge, UnsupportedMedia]
    if operation.query is not None and "cursor" in operation.query.fields:
        found.append(InvalidCursor)
    if operation.writes:
        found += _problems_of_writing(operation)
    if operation.keyed or operation.writes:
        found.append(DatabaseAway)
    found += [problem for problem in operation.conflicts if problem not in found]
    return sorted(dict.fromkeys(found), key=lambda problem: (problem.status, problem.code))


def _problems_of_writing(operation: Operation) -> list[type[Problem]]:
    found: list[type[Problem]] = [DiskFull]
    if operation.keyed:
        found += [BadIdempotencyKey, KeyReused, RequestInProgress]
        at_bench = operation.scopes is not None and (not operation.scopes or "bench" in operation.scopes)
        if at_bench and operation.by_hand:
            found.append(TechnicianRequired)
    if operation.creates == "key":
        found.append(IdempotencyKeyMissing)
    if operation.edits:
        found += [PreconditionFailed, PreconditionRequired]
    return found


def declared_statuses(operation: Operation) -> set[int]:
    """Return every status that the document names for this operation."""
    return {int(code) for code in _responses(operation)}


def openapi_of_field(converter: Any, field: Any, ret: dict[str, Any]) -> dict[str, Any]:
    """Give apispec the JSON Schema that a strict field says of itself."""
    from .fields import MapOf, StrictField

    # What is filled in when nothing is sent is the service's affair; null says nothing that absence does not,
    # and generators of typed clients take a field with a default for one that is always there.
    if ret.get("default", ...) is None:
        ret.pop("default")
    if not isinstance(field, StrictField):
        return {}
    schema = field.openapi()
    if isinstance(field, MapOf):
        schema["additionalProperties"] = converter.field2property(field.inner)
    if "description" in field.metadata:
        schema["description"] = field.metadata["description"]
    if not field.allow_none:
        return schema
    ret.pop("anyOf", None)
    return _nullable(schema)


def _nullable(schema: dict[str, Any]) -> dict[str, Any]:
    if "$ref" in schema:
        outside = {"description": schema.pop("description")} if "description" in schema else {}
        return {"anyOf": [schema, {"type": "null"}], **outside}
    if "enum" in schema:
        schema["enum"] = [*schema["enum"], None]
    schema["type"] = [schema["type"], "null"]
    return schema


_SCHEMA = re.compile(r"#/components/schemas/([A-Za-z0-9]+)")


def _reachable(document: dict[str, Any], part: Any) -> set[str]:
    """Return the names of the component schemas that a part of the document leads to."""
    found: set[str] = set()
    open_ = [part]
    while open_:
        here = open_.pop()
        if isinstance(here, dict):
            reference = _SCHEMA.fullmatch(str(here.get("$ref")))
            if reference is not None and reference[1] not in found:
                found.add(reference[1])
                open_.append(document["components"]["schemas"].get(reference[1], {}))
            open_.extend(here.values())
        elif isinstance(here, list):
            open_.extend(here)
    return found


def finish(document: dict[str, Any], *, closed: bool = False) -> dict[str, Any]:
    """Return the document with answers complete, open to growth, and nothing in it written twice.

    Schemas that stand in answers alone name every field as given. In the published document they allow
    further ones, because later versions may add some; with `closed` they do not, for the service's own tests.
    """
    bodies: list[Any] = []
    for path in document.get("paths", {}).values():
        bodies += [op["requestBody"] for op in path.values() if isinstance(op, dict) and "requestBody" in op]
    taken = _reachable(document, bodies)
    for name, schema in document["components"]["schemas"].items():
        if name in taken or name in ("Problem", "Quantity") or "properties" not in schema:
            continue
        optional = [key for key, value in schema["properties"].items() if value.pop("x-optional", False)]
        schema["required"] = sorted(set(schema["properties"]) - set(optional))
        if not closed:
            schema.pop("additionalProperties", None)
    return share(document)


def write_document(document: dict[str, Any]) -> str:
    """Return the document as text: sorted, so that two releases can be compared line by line."""
    return json.dumps(document, indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def write_compact(document: dict[str, Any]) -> str:
    """Return the document as the service answers it: sorted, without blanks between its parts."""
    return json.dumps(document, separators=(",", ":"), sort_keys=True, ensure_ascii=False)

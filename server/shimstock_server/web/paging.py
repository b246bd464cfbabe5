"""Lists page by page: an opaque cursor that stays right while rows come and go."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import Enum
from functools import cache
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from flask import request
from sqlalchemy import Select, and_, or_
from sqlalchemy.orm import InstrumentedAttribute

from .context import current
from .fields import ListOf, Nested, Text, Whole
from .operation import Answer
from .problems import InvalidCursor
from .schemas import StrictSchema

DEFAULT_LIMIT = 50
MAX_LIMIT = 500


class PageQuery(StrictSchema):
    """What every list takes: the base of a list's query schema."""

    limit = Whole(
        1, MAX_LIMIT, load_default=DEFAULT_LIMIT, metadata={"description": "Most rows on the page."}
    )
    cursor = Text(max=600, metadata={"description": "Where to go on: `next` of the page before."})


@dataclass(frozen=True)
class Page:
    """One page of a list."""

    items: list[Any]
    next: str | None
    cursor: str | None = None
    """Where to go on later, also from the last page; for lists that only grow."""


@cache
def page_of(schema: type[StrictSchema]) -> type[StrictSchema]:
    """Return the schema of a page of such rows."""
    name = schema.component_name().removesuffix("Out") + "Page"
    members = {
        "items": ListOf(Nested(schema), required=True),
        "next": Text(
            max=600,
            required=True,
            allow_none=True,
            metadata={
                "x-name": "NextCursor",
                "description": "The cursor of the next page; null on the last.",
            },
        ),
        "is_page": True,
        "__module__": schema.__module__,
    }
    return type(name, (StrictSchema,), members)


def page(
    statement: Select[Any],
    query: Mapping[str, Any],
    *,
    sort: tuple[InstrumentedAttribute[Any], InstrumentedAttribute[Any]],
    descending: bool = False,
    rows: bool = False,
    show: Callable[[Any], Any] | None = None,
    resumes: tuple[Any, Any] | None = None,
) -> Answer:
    """Return one page of what a statement selects, with its Link header.

    Parameters
    ----------
    statement : Select
        With its filter, without order and limit.
    query : mapping
        The deserialised query, of a schema built on `PageQuery`.
    sort : pair of columns
        A column that is never null, and the id. Both must be among what the statement selects.
    descending : bool
        Whether the largest comes first.
    rows : bool
        Whether the statement selects several things and the rows themselves are wanted.
    show : callable, optional
        Turns each object into what the schema dumps.
    resumes : pair, optional
        For a list that only grows at its end: sort value and id before the first row. The page then carries
        a `cursor` to go on from later.

    Raises
    ------
    InvalidCursor
        When the cursor was not made by this list with this filter and sort.

    Notes
    -----
    A row whose sort value does not change appears exactly once, whatever is added or removed meanwhile.
    """
    column, identifier = sort
    binding = _binding(query, column, descending)
    limit = int(query.get("limit") or DEFAULT_LIMIT)
    if (cursor := query.get("cursor")) is not None:
        value, last = _read_cursor(cursor, binding, column, identifier)
        if descending:
            statement = statement.where(or_(column < value, and_(column == value, identifier < last)))
        else:
            statement = statement.where(or_(column > value, and_(column == value, identifier > last)))
    order = (column.desc(), identifier.desc()) if descending else (column.asc(), identifier.asc())
    result = current.session.execute(
        statement.add_columns(column.label("_sort"), identifier.label("_id"))
        .order_by(*order)
        .limit(limit + 1)
    )
    found = result.unique().all() if _has_collections(statement) else result.all()
    shown = found[:limit]
    next_cursor = None
    if len(found) > limit:
        next_cursor = _write_cursor(shown[-1][-2], shown[-1][-1], binding)
    resume_at = None
    if resumes is not None:
        resume_at = _write_cursor(shown[-1][-2], shown[-1][-1], binding) if shown else query.get("cursor")
        resume_at = resume_at or _write_cursor(*resumes, binding)
    headers = {"Link": f'<{_next_address(next_cursor)}>; rel="next"'} if next_cursor else {}
    items = [row[:-2] if rows else row[0] for row in shown]
    if show is not None:
        items = [show(item) for item in items]
    return Answer(Page(items, next_cursor, resume_at), headers=headers)


def _has_collections(statement: Select[Any]) -> bool:
    return any(getattr(option, "path", None) is not None for option in statement._with_options)


def _binding(query: Mapping[str, Any], column: InstrumentedAttribute[Any], descending: bool) -> str:
    """Return what a cursor is good for: this address, this filter, this sort, this key."""
    told = {name: _plain(value) for name, value in query.items() if name not in ("limit", "cursor")}
    text = json.dumps(
        [request.path, str(current.actor.key_id), told, str(column), descending], sort_keys=True, default=str
    )
    return hashlib.sha256(text.encode()).hexdigest()


def _signature(payload: bytes, binding: str) -> bytes:
    key = current.config.secret.encode()
    return hmac.new(key, b"cursor:" + binding.encode() + b":" + payload, hashlib.sha256).digest()[:16]


def _write_cursor(value: Any, identifier: Any, binding: str) -> str:
    payload = json.dumps([_plain(value), _plain(identifier)], separators=(",", ":")).encode()
    return base64.urlsafe_b64encode(_signature(payload, binding) + payload).decode().rstrip("=")


def _read_cursor(
    cursor: str, binding: str, column: InstrumentedAttribute[Any], identifier: InstrumentedAttribute[Any]
) -> tuple[Any, Any]:
    try:
        raw = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4))
    except ValueError:
        raise InvalidCursor() from None
    signature, payload = raw[:16], raw[16:]
    if not hmac.compare_digest(signature, _signature(payload, binding)):
        raise InvalidCursor()
    value, last = json.loads(payload)
    return _typed(value, column), _typed(last, identifier)


def _plain(value: Any) -> Any:
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    return value


def _typed(value: Any, column: InstrumentedAttribute[Any]) -> Any:
    kind = column.type.python_type
    if kind is datetime:
        return datetime.fromisoformat(value)
    if kind is date:
        return date.fromisoformat(value)
    if kind is UUID:
        return UUID(value)
    return value


def _next_address(cursor: str) -> str:
    pairs = [(name, value) for name, value in request.args.items(multi=True) if name != "cursor"]
    return request.path + "?" + urlencode([*pairs, ("cursor", cursor)])

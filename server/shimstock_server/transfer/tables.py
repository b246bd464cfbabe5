"""What an export holds: every table that the shop owns, and why the others are left out."""

from __future__ import annotations

import base64
import secrets
from datetime import date, datetime
from enum import Enum
from typing import Any
from uuid import UUID

from sqlalchemy import Column, Table

from shimstock_server.database.tables import Base
from shimstock_server.web.fields import ValidationError, clean_text, instant_text

LEFT_OUT = {
    "allowed_moves": "written by the migrations",
    "idempotency_keys": "answers kept for some days",
    "secret_fingerprint": "no secret is in an export, nor what tells it from others",
    "webhook_deliveries": "a log of what was sent",
    "delivery_attempts": "a log of what was sent",
    "learning_marks": "counted anew after an import",
    "response_samples": "worked out anew after an import",
    "learned_responses": "learned anew after an import",
    "tool_noises": "learned anew after an import",
    "learned_minutes": "learned anew after an import",
    "report_months": "counted anew after an import",
    "report_cells": "counted anew after an import",
    "report_bins": "counted anew after an import",
    "report_tallies": "counted anew after an import",
    "report_jobs": "counted anew after an import",
    "report_runs": "reports can be made again",
    "report_run_parts": "reports can be made again",
    "season_marks": "forecast anew after an import",
    "learned_sensitivities": "learned anew after an import",
    "watched_quantities": "worked out anew after an import",
}
"""Tables that are no part of an export, and why."""

SORTED_BY = {
    # as they came about; job_moves must follow each other
    "jobs": ("number",),
    "reading_sheets": ("received_at", "id"),
    "job_moves": ("job_id", "sequence"),
}


def exported_tables() -> list[Table]:
    """Return the tables of an export, each after those that it refers to."""
    return [table for table in Base.metadata.sorted_tables if table.name not in LEFT_OUT]


def file_of(table: Table) -> str:
    """Return the name of a table's file."""
    return f"tables/{table.name}.jsonl"


def columns_of(table: Table) -> list[Column[Any]]:
    """Return the columns of a table that an export holds: all but secrets."""
    return [column for column in table.columns if not column.info.get("secret")]


def order_of(table: Table) -> list[Column[Any]]:
    """Return what the rows of a table are sorted by."""
    names = SORTED_BY.get(table.name)
    return list(table.primary_key.columns) if names is None else [table.columns[name] for name in names]


def to_json(value: Any) -> Any:
    """Return a column's value as JSON says it.

    >>> to_json(UUID(int=7)), to_json(date(2026, 3, 2)), to_json(b"ab")
    ('00000000-0000-0000-0000-000000000007', '2026-03-02', 'YWI=')
    """
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, datetime):
        return instant_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, bytes):
        return base64.b64encode(value).decode()
    return _sorted(value)


def _sorted(value: Any) -> Any:
    """Sort the members of objects: PostgreSQL does not keep their order, and exports are the same on both."""
    if isinstance(value, dict):
        return {name: _sorted(value[name]) for name in sorted(value)}
    return [_sorted(each) for each in value] if isinstance(value, list) else value


def from_json(column: Column[Any], value: Any) -> Any:
    """Return what `to_json` was given for a column."""
    if value is None:
        return None
    kind = column.type.python_type
    if kind is UUID:
        return UUID(value)
    if kind is datetime:
        return datetime.fromisoformat(value)
    if kind is date:
        return date.fromisoformat(value)
    if kind is bytes:
        return base64.b64decode(value)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(value)
    return _plain(column, kind, value)


PLAIN: dict[type, tuple[tuple[type, ...], str]] = {
    str: ((str,), "a text"),
    bool: ((bool,), "true or false"),
    int: ((int,), "a whole number"),
    float: ((int, float), "a number"),
}


def _plain(column: Column[Any], kind: type, value: Any) -> Any:
    """Return a value that needs no reading, when it is what the column holds."""
    types, said = PLAIN.get(kind, ((object,), ""))
    if not isinstance(value, types) or (isinstance(value, bool) and kind in (int, float)):
        raise TypeError(f"{column.name}: {said} was expected, not {str(value)[:40]!r}")
    longest = getattr(column.type, "length", None)
    if isinstance(value, str) and kind is str and longest is not None and len(value) > longest:
        raise ValueError(f"{column.name}: has more than {longest} characters")
    try:
        return _clean(value)
    except ValidationError as error:
        raise ValueError(f"{column.name}: {error.messages[0]}") from error


LONGEST_TEXT = 8 << 20
"""No line of an export is longer (`importing.LONGEST_LINE`); columns have bounds of their own."""


def _clean(value: Any) -> Any:
    """Clean every text as a request's texts are cleaned, in columns of JSON too."""
    if isinstance(value, str):
        # between two dots its outer blanks stay: names that are searched by begin with one
        return clean_text(f".{value}.", max=LONGEST_TEXT, multiline=True)[1:-1]
    if isinstance(value, dict):
        return {clean_text(name, max=LONGEST_TEXT): _clean(each) for name, each in value.items()}
    return [_clean(each) for each in value] if isinstance(value, list) else value


def fill_secrets(table: Table, row: dict[str, Any]) -> dict[str, Any]:
    """Give a row secrets that nobody knows: what they opened stays shut until new ones are made."""
    for column in table.columns:
        if not column.info.get("secret"):
            continue
        until = column.name.replace("_salt", "_until")
        if column.nullable and (until == column.name or row.get(until) is None):
            row[column.name] = None
        else:
            row[column.name] = secrets.token_bytes(getattr(column.type, "length", None) or 32)
    if table.name == "webhook_endpoints" and row["active"]:
        # a copy of a shop tells nobody anything until somebody wants it to
        row |= {"active": False, "disabled_reason": "switched-off"}
    return row

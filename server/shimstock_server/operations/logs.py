"""Logs as JSON lines on standard error, without secrets."""

from __future__ import annotations

import logging
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from types import TracebackType

from pythonjsonlogger.json import JsonFormatter

from shimstock_server.web.tokens import redact

Caught = tuple[type[BaseException], BaseException, TracebackType | None] | tuple[None, None, None]


class _Redacting(JsonFormatter):
    """JSON lines in which no key, no card's address and no row of a table can be read."""

    def format(self, record: logging.LogRecord) -> str:
        return redact(super().format(record))

    def formatTime(self, record: logging.LogRecord, datefmt: str | None = None) -> str:  # noqa: ARG002, N802
        at = datetime.fromtimestamp(record.created, UTC)
        return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    def formatException(self, exc_info: Caught) -> str:  # noqa: N802
        text = str(super().formatException(exc_info))
        for error in _behind(exc_info[1]):
            # PostgreSQL tells the refused row there, with whatever name stands in it.
            detail = getattr(getattr(error, "diag", None), "message_detail", None)
            if detail:
                text = text.replace(detail, "…")
        return text


def _behind(error: BaseException | None) -> Iterator[BaseException]:
    """Walk through an error and those that led to it."""
    seen: set[int] = set()
    waiting = [error]
    while waiting:
        each = waiting.pop()
        if each is None or id(each) in seen:
            continue
        seen.add(id(each))
        yield each
        waiting += [each.__cause__, each.__context__, getattr(each, "orig", None)]


def set_up(level: str = "INFO") -> None:
    """Send every log of the process to standard error, one JSON object a line."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(
        _Redacting(
            ["asctime", "levelname", "name", "message"],
            rename_fields={"asctime": "at", "levelname": "level", "name": "logger"},
            json_ensure_ascii=False,
        )
    )
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level)
    logging.getLogger("alembic").setLevel("WARNING")

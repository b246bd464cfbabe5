"""Logs as JSON lines on standard error, without secrets."""

from __future__ import annotations

import logging
import sys

from pythonjsonlogger.json import JsonFormatter

from shimstock_server.web.tokens import redact


class _Redacting(JsonFormatter):
    """JSON lines in which no key and no card's address can be read."""

    def format(self, record: logging.LogRecord) -> str:
        return redact(super().format(record))


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

"""Where the answers go: text in whatever letters the terminal has, JSON that any of them can carry."""

from __future__ import annotations

import codecs
import io
import json
import os
import sys
from typing import Any, TextIO

PLAIN_LETTERS = "shimstock-plain"
"""Name of the way in which a letter that the terminal does not have is written with those that it has."""
_PLAIN = {"→": "->", "…": "...", "–": "-", "·": "-", "±": "+/-", "−": "-", "°": " deg ", "×": "x", "’": "'"}


def _in_plain_letters(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    missing = error.object[error.start : error.end]
    return "".join(_PLAIN.get(letter, "?") for letter in missing), error.end


codecs.register_error(PLAIN_LETTERS, _in_plain_letters)


def speak_plainly() -> None:
    """Have both streams write what their encoding lacks in plain letters instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper) and not _knows_all(stream):
            stream.reconfigure(errors=PLAIN_LETTERS)


def _knows_all(stream: TextIO) -> bool:
    return (stream.encoding or "").lower().replace("-", "").startswith("utf")


def json_text(data: Any) -> str:
    """Write JSON; with escapes where the stream's encoding could not carry every letter."""
    return json.dumps(data, ensure_ascii=not _knows_all(sys.stdout), indent=1)


class Trimmed(io.TextIOBase):
    """Standard output without the blanks that fill up a table's lines."""

    def write(self, text: str) -> int:
        """Write lines, their ends trimmed."""
        return sys.stdout.write("\n".join(line.rstrip(" ") for line in text.split("\n")))

    def flush(self) -> None:
        """Pass it on."""
        sys.stdout.flush()


def line_width() -> int:
    """Return the width of lines when no terminal tells it: COLUMNS, else 100."""
    columns = os.environ.get("COLUMNS", "")
    return int(columns) if columns.isdigit() and int(columns) >= 20 else 100

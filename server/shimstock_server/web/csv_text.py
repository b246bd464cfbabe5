"""Tables as CSV (RFC 4180) that no spreadsheet takes for a program."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any

FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
"""A cell that begins with one of these is run as a formula by spreadsheets (OWASP, *CSV Injection*); the full
width ones by some of East Asia."""


def defused(cell: Any) -> Any:
    """Return a cell that is only ever text; numbers stay numbers.

    >>> defused("=1+1"), defused("  @sum"), defused("＝1+1"), defused(-0.3), defused("relief")
    ("'=1+1", "'  @sum", "'＝1+1", -0.3, 'relief')
    """
    if not isinstance(cell, str):
        return cell
    # some programs trim blanks before they look
    return f"'{cell}" if cell.startswith(FORMULA) or cell.lstrip().startswith(FORMULA) else cell


def undefused(text: str) -> str:
    """Return a text cell as it was before `defused`.

    >>> undefused("'=1+1"), undefused("'s")
    ('=1+1', "'s")
    """
    bare = text.removeprefix("'")
    return bare if bare != text and bare.lstrip().startswith(FORMULA) else text


def write_csv(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Return a table as CSV: UTF-8, a header line, lines ended by CR LF, None as an empty cell."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow([defused(cell) for cell in header])
    for row in rows:
        writer.writerow(["" if cell is None else defused(cell) for cell in row])
    return text.getvalue()

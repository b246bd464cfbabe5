"""Reads the published figures beside this file; README.md names the source of each."""

from __future__ import annotations

import csv
from pathlib import Path

HERE = Path(__file__).parent


def table(name: str) -> list[dict[str, str]]:
    """Return every row of `name`.csv as text; comment lines, which name the source, are left out."""
    with (HERE / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def rows(name: str, **wanted: str) -> list[dict[str, str]]:
    """Return the rows of `name`.csv as text, only those whose columns equal `wanted`."""
    found = [row for row in table(name) if all(row[column] == value for column, value in wanted.items())]
    if not found:
        raise LookupError(f"{name}.csv has no row with {wanted}")
    return found


def column(name: str, heading: str, **wanted: str) -> list[float]:
    """Return one column of `name`.csv as numbers; empty cells are left out."""
    return [float(row[heading]) for row in rows(name, **wanted) if row[heading] != ""]

"""Records of exports and imports, made by client/generate.py: do not edit."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..._wire import Record


@dataclass(kw_only=True, repr=False, eq=False)
class RowProblem(Record):
    """Something that stands against a row of a file; the header is row 1."""

    column: str | None = None
    message: str = ""
    row: int = 0
    """Line of the file; the header is 1."""


@dataclass(kw_only=True, repr=False, eq=False)
class ReadingsImport(Record):
    """What a file of earlier readings holds, whether it was kept, and every problem by row."""

    kept: bool = False
    """False after a dry run or with any problem."""
    problems: list[RowProblem] = field(default_factory=list)
    readings: int = 0
    rows: int = 0
    sheets: int = 0

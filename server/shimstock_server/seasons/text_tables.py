"""Reading tables that people export as text: separator, decimal comma, headings with their units."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from shimstock_server.web.problems import InvalidFields, pointer

MOST_ERRORS = 100
"""Bad lines that are listed; how many more there are is said."""
MOST_LINES = 100_000
MOST_COLUMNS = 200
LONGEST_LINE = 100_000
"""Characters of a line; one that is longer is no line of a table."""


@dataclass
class Errors:
    """What is wrong in a file, line by line; every bad line is counted, the first ones are listed."""

    listed: list[dict[str, str]] = field(default_factory=list)
    count: int = 0

    def add(self, line: int, column: str, message: str) -> None:
        """Note what is wrong in a line, counted from 1 as editors do."""
        self.count += 1
        if len(self.listed) < MOST_ERRORS:
            self.listed.append({"pointer": pointer("lines", line, column), "message": message})

    def refuse(self, what: str) -> None:
        """Refuse the whole file when anything is wrong.

        Raises
        ------
        InvalidFields
            With the bad lines; pointers are ``/lines/LINE/COLUMN``.
        """
        if self.count:
            more = f", the first {MOST_ERRORS} are listed" if self.count > MOST_ERRORS else ""
            values = "1 value" if self.count == 1 else f"{self.count} values"
            raise InvalidFields(
                f"{values} of {what} cannot be taken{more}; nothing was stored.",
                errors=self.listed,
            )


@dataclass(frozen=True)
class Table:
    """The lines of a file under their headings."""

    headings: tuple[str, ...]
    lines: tuple[tuple[int, tuple[str, ...]], ...]
    decimal_comma: bool

    def column(self, name: str) -> int | None:
        """Where a column stands, or None."""
        return self.headings.index(name) if name in self.headings else None

    def number(self, text: str) -> float | None:
        """Read a number as this file writes it; None when it is none."""
        return read_number(text, decimal_comma=self.decimal_comma)


def read_number(text: str, *, decimal_comma: bool = False) -> float | None:
    """Read a finite number, or None.

    >>> read_number("-4.6"), read_number("21,5", decimal_comma=True), read_number("nan"), read_number("1_0")
    (-4.6, 21.5, None, None)
    """
    plain = text.strip()
    if decimal_comma:
        plain = plain.replace(",", ".")
    if "_" in plain:
        return None
    try:
        number = float(plain)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def read_table(text: str) -> Table:
    """Read a table with a line of headings; lines that begin with # are remarks, empty ones nothing.

    Notes
    -----
    The separator is that of the line of headings: a semicolon, a tab, else a comma. With a semicolon or a
    tab, numbers may have a decimal comma.

    Raises
    ------
    InvalidFields
        When there is no line of headings, one stands twice, or a line is too long or has another number of
        columns.
    """
    numbered = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not numbered:
        raise InvalidFields.at("/lines/1", "the file is empty: a line of headings was expected")
    if len(numbered) > MOST_LINES + 1:
        raise InvalidFields.at("", f"at most {MOST_LINES} lines a file; {len(numbered) - 1} were given")
    for number, line in numbered:
        if len(line) > LONGEST_LINE:
            raise InvalidFields.at(
                f"/lines/{number}", f"a line has at most {LONGEST_LINE} characters; this one has {len(line)}"
            )
    first = numbered[0][1]
    separator = next((each for each in (";", "\t") if each in first), ",")
    rows = list(_rows(numbered, separator))
    headings = tuple(heading.strip() for heading in rows[0][1])
    if len(headings) > MOST_COLUMNS:
        raise InvalidFields.at(
            f"/lines/{numbered[0][0]}", f"a table has at most {MOST_COLUMNS} columns, not {len(headings)}"
        )
    twice = sorted(heading for heading, times in Counter(headings).items() if times > 1)
    if twice:
        raise InvalidFields.at(f"/lines/{numbered[0][0]}", f"the heading {twice[0][:80]} stands twice")
    if len(headings) == 1 and (other := next((each for each in "|:" if each in first), None)):
        raise InvalidFields.at(
            f"/lines/{numbered[0][0]}", f"columns are separated by {other!r}: use commas, semicolons or tabs"
        )
    errors = Errors()
    for number, cells in rows[1:]:
        if len(cells) != len(headings):
            hint = ""
            if len(cells) > len(headings) and separator == ",":
                hint = ": write numbers with a point, or separate the columns by semicolons"
            errors.add(number, "", f"has {len(cells)} columns where the headings name {len(headings)}{hint}")
    errors.refuse("the file")
    return Table(headings, tuple(rows[1:]), separator != ",")


def _rows(numbered: Sequence[tuple[int, str]], separator: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    for number, line in numbered:
        yield number, tuple(next(csv.reader(io.StringIO(line), delimiter=separator)))


def expect_headings(table: Table, *groups: Sequence[str]) -> None:
    """Refuse a table that lacks columns, naming all of them at once; of each group one must stand.

    Raises
    ------
    InvalidFields
        When a group has none.
    """
    missing = [" or ".join(group) for group in groups if not any(name in table.headings for name in group)]
    if missing:
        wanted = f"a column {missing[0]} was" if len(missing) == 1 else f"columns {', '.join(missing)} were"
        told = f"{wanted} expected; the headings are {', '.join(table.headings)}"
        raise InvalidFields.at("/lines/1", told[:500])


def the_heading(table: Table, wanted: Sequence[str], *, required: bool = True) -> str | None:
    """Return the one heading of several that stands in a table.

    Raises
    ------
    InvalidFields
        When none does although one is required, or more than one.
    """
    found = [heading for heading in wanted if heading in table.headings]
    if len(found) > 1:
        raise InvalidFields.at("/lines/1", f"give {found[0]} or {found[1]}, not both")
    if not found and required:
        names = " or ".join(wanted)
        raise InvalidFields.at(
            "/lines/1", f"a column {names} was expected; the headings are {', '.join(table.headings)}"[:500]
        )
    return found[0] if found else None

"""Logs of hygrometers as files: headings with units, local times, clocks that went wrong."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from shimstock_server.web.fields import ValidationError, clean_text
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.units import Unit, convert

from .room_readings import Sent, line_id
from .text_tables import Errors, Table, expect_headings, read_table, the_heading

LONGEST_NOTE = 1000
_TIMES = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?\s?([Zz]|[+-]\d\d:?\d\d)?")


def read_log(text: str, query: Mapping[str, Any], *, zone: ZoneInfo) -> list[Sent]:
    """Read a log from a table.

    Parameters
    ----------
    text : str
        With the headings ``taken_at``, ``temperature_degC`` or ``temperature_degF``, and
        ``relative_humidity_percent``; optionally ``id`` and ``note``.
    query : mapping
        Room and hygrometer, by how many minutes to shift the times, and what is confirmed.
    zone : ZoneInfo
        Of times without an offset.

    Notes
    -----
    A local time that occurs twice in the year is the first one until the times step back, then the second. A
    local time that the clocks skip is refused: the logger does not keep this zone.

    Raises
    ------
    InvalidFields
        With every bad line; pointers are ``/lines/LINE/COLUMN``.
    """
    table = read_table(text)
    warmths = ("temperature_degC", "temperature_degF")
    expect_headings(table, ("taken_at",), warmths, ("relative_humidity_percent",))
    warmth = the_heading(table, warmths) or ""
    if not table.lines:
        raise InvalidFields.at("/lines/2", "the file has headings and no reading")
    return _Reader(table, warmth, query, zone).read()


class _Reader:
    """Reads the lines of one log, collecting what is wrong with them."""

    def __init__(self, table: Table, warmth: str, query: Mapping[str, Any], zone: ZoneInfo) -> None:
        self.table, self.query, self.zone = table, query, zone
        self.warmth = warmth
        self.unit = Unit.FAHRENHEIT if warmth.endswith("degF") else Unit.CELSIUS
        self.shift = timedelta(minutes=query.get("shift_minutes") or 0)
        self.errors = Errors()
        self.before: datetime | None = None

    def read(self) -> list[Sent]:
        """Read every line."""
        found = [self._line(number, cells) for number, cells in self.table.lines]
        self.errors.refuse("the log")
        return [each for each in found if each is not None]

    def _line(self, number: int, cells: tuple[str, ...]) -> Sent | None:
        taken_at = self._instant(number, self._cell(cells, "taken_at"))
        warm = self._number(number, cells, self.warmth)
        damp = self._number(number, cells, "relative_humidity_percent")
        identifier = self._id(number, cells, taken_at)
        note = self._note(number, cells)
        if taken_at is None or warm is None or damp is None or identifier is None:
            return None
        return Sent(
            at=f"/lines/{number}",
            id=identifier,
            named=bool(self._cell(cells, "id")),
            taken_at=taken_at,
            temperature=convert(warm, self.unit, Unit.CELSIUS),
            shown=damp,
            typed={
                "temperature": {"value": warm, "unit": self.unit.value},
                "relative_humidity": {"value": damp, "unit": "percent"},
                "taken_at": {"text": self._cell(cells, "taken_at")},
            },
            confirmed=bool(self.query.get("confirmed")),
            confirm_clock=bool(self.query.get("confirm_clock")),
            note=note,
            columns=(self.warmth, "relative_humidity_percent"),
        )

    def _note(self, line: int, cells: tuple[str, ...]) -> str | None:
        try:
            return clean_text(self._cell(cells, "note"), max=LONGEST_NOTE) or None
        except ValidationError as error:
            self.errors.add(line, "note", str(error.messages[0]))
            return None

    def _cell(self, cells: tuple[str, ...], column: str) -> str:
        at = self.table.column(column)
        return "" if at is None else cells[at].strip()

    def _number(self, line: int, cells: tuple[str, ...], column: str) -> float | None:
        text = self._cell(cells, column)
        number = self.table.number(text)
        if number is None:
            said = f"{text[:40]!r} is no number" if text else "is empty"
            self.errors.add(line, column, f"{said}; leave the line out where the logger paused")
        return number

    def _id(self, line: int, cells: tuple[str, ...], taken_at: datetime | None) -> UUID | None:
        text = self._cell(cells, "id")
        if text:
            try:
                return UUID(text)
            except ValueError:
                self.errors.add(line, "id", "must be a UUID, or empty")
                return None
        if taken_at is None:
            return None
        device = str(self.query.get("hygrometer_id") or "")
        return line_id(self.query["room_id"], device, taken_at)

    def _instant(self, line: int, text: str) -> datetime | None:
        """Return the instant of a line, shifted; None when there is none."""
        try:
            found = self._as_written(line, text)
            return None if found is None else found + self.shift
        except OverflowError:
            self.errors.add(line, "taken_at", "is not a time that the calendar knows")
            return None

    def _as_written(self, line: int, text: str) -> datetime | None:
        if not _TIMES.fullmatch(text):
            self.errors.add(
                line, "taken_at", "must be a time such as 2026-03-02 09:30, with or without its offset"
            )
            return None
        try:
            read = datetime.fromisoformat(text.upper().replace(" ", "T", 1).replace(" ", ""))
        except ValueError:
            self.errors.add(line, "taken_at", "is not a time that the calendar knows")
            return None
        if read.tzinfo is not None:
            return read.astimezone(UTC)
        return self._local(line, read)

    def _local(self, line: int, wall: datetime) -> datetime | None:
        first = wall.replace(tzinfo=self.zone, fold=0).astimezone(UTC)
        if first.astimezone(self.zone).replace(tzinfo=None) != wall:
            self.errors.add(
                line,
                "taken_at",
                f"no clock in {self.zone.key} shows this time: write times with their offset",
            )
            return None
        second = wall.replace(tzinfo=self.zone, fold=1).astimezone(UTC)
        found = second if self.before is not None and first <= self.before < second else first
        self.before = found
        return found

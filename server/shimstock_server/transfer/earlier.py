"""Readings from before this service, from a CSV file: every problem told by row, or all of them kept."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.bench import ReadingSheetIn, record_sheet
from shimstock_server.database.tables.bench import ReadingSheet
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.shop import Tool
from shimstock_server.database.words import JobState
from shimstock_server.jobs import JobIn, check_in, move_job
from shimstock_server.shop import settings
from shimstock_server.web.context import Actor
from shimstock_server.web.csv_text import undefused
from shimstock_server.web.fields import Instant, ValidationError, instant_text
from shimstock_server.web.parsing import load
from shimstock_server.web.problems import FieldError, InvalidFields, Problem

COLUMNS = (
    "instrument_id", "maker", "model", "serial", "taken_at", "stage", "at_pitch", "position", "acclimatised",
    "temperature", "temperature_unit", "humidity", "quantity", "side", "string", "pickup", "fret", "held_low",
    "held_high", "capo", "method", "value", "unit", "zero_or_less", "tool", "confirmed", "note",
)  # fmt: skip
"""Columns that the file may have, in any order; taken_at, stage, quantity and an instrument are needed."""

MOST_ROWS = 20_000
MOST_SHEETS = 500
"""Some seconds of work, in which no bench can write."""
MOST_COLUMNS = 100
MOST_PROBLEMS = 1000
"""Problems that are told one by one; how many more there are is said."""
WHOLE = ("string", "fret", "held_low", "held_high", "capo")
YES = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
REASON = "readings from before this service, imported"
_SHEETS = uuid5(NAMESPACE_URL, "shimstock:earlier-sheet")
_INSTANT = Instant()
_WHOLE = re.compile(r"[+-]?[0-9]{1,18}")
_NUMBER = re.compile(r"[+-]?([0-9]{1,18}(\.[0-9]{0,18})?|\.[0-9]{1,18})([eE][+-]?[0-9]{1,3})?")


@dataclass
class Result:
    """What became of a file."""

    rows: int = 0
    sheets: int = 0
    readings: int = 0
    problems: list[dict[str, Any]] = field(default_factory=list)
    untold: int = 0

    def wrong(self, row: int, column: str | None, message: str) -> None:
        """Note a problem; the row is the line of the file."""
        if len(self.problems) >= MOST_PROBLEMS:
            self.untold += 1
            return
        column = column if column is None or len(column) <= 100 else column[:99] + "…"
        self.problems.append({"row": row, "column": column, "message": message})

    @property
    def found(self) -> int:
        """How many problems there are, told or not."""
        return len(self.problems) + self.untold

    def close(self) -> None:
        """Put the problems in order, and say how many are not told."""
        self.problems.sort(key=lambda problem: (problem["row"], problem["column"] or ""))
        if self.untold:
            last = self.problems[-1]["row"]
            self.problems.append({"row": last, "column": None, "message": f"and {self.untold} problems more"})


@dataclass
class _Sheet:
    """Rows that were read at one time on one instrument."""

    instrument: Instrument
    body: dict[str, Any]
    former_id: UUID
    """What the sheet was called when ids were made of the time as it was written."""
    rows: list[int] = field(default_factory=list)


def import_readings(session: Session, text: str, *, actor: Actor, now: datetime) -> Result:
    """Keep the readings of a file, each sheet in a job of its instrument and day that is closed at once.

    Everything goes through the same checks as at the bench. The caller undoes the transaction when there are
    problems or when it was only a trial.
    """
    result = Result()
    sheets = _Reader(session, result).read(text)
    if len(sheets) > MOST_SHEETS:
        told = f"a file has {MOST_SHEETS} sheets at most: cut the file here, and send the rest after it"
        result.wrong(sheets[MOST_SHEETS].rows[0], None, told)
        sheets = []
    zone = ZoneInfo(settings(session).zone)
    jobs: dict[tuple[UUID, Any], Job] = {}
    begun: dict[UUID, int] = {}
    for sheet in sheets:
        wish, errors = load(ReadingSheetIn(), sheet.body)
        if errors:
            _tell(result, sheet.rows, errors)
            continue
        if wish["id"] in begun:
            result.wrong(sheet.rows[0], None, _told_otherwise(begun[wish["id"]]))
            continue
        begun[wish["id"]] = sheet.rows[0]
        if any(session.get(ReadingSheet, known) is not None for known in {wish["id"], sheet.former_id}):
            result.wrong(sheet.rows[0], None, "these readings were imported before")
            continue
        day = sheet.instrument.id, wish["taken_at"].astimezone(zone).date()
        try:
            with session.begin_nested():
                if day not in jobs:
                    jobs[day] = _job(session, sheet.instrument, actor=actor, now=now)
                record_sheet(session, jobs[day], wish, fingerprint="imported", actor=actor, now=now)
        except Problem as problem:
            jobs.pop(day, None)
            _tell(result, sheet.rows, problem.errors or [{"pointer": "", "message": problem.detail}])
            continue
        result.sheets += 1
        result.readings += len(sheet.rows)
    result.close()
    return result


def _told_otherwise(row: int) -> str:
    return (
        f"row {row} tells of the same instrument, time and stage with another pitch, position, air or wood: "
        "one sheet has one of each; give the later readings a later time"
    )


def _job(session: Session, instrument: Instrument, *, actor: Actor, now: datetime) -> Job:
    wish, errors = load(JobIn(), {"instrument_id": str(instrument.id)})
    if errors:
        raise InvalidFields(errors=errors)
    job = check_in(session, wish, actor=actor, now=now)
    return move_job(session, job, {"to": JobState.CANCELLED, "reason": REASON}, actor=actor, now=now)


def _tell(
    result: Result, rows: Sequence[int], errors: Iterable[FieldError], known: Collection[str | None] = ()
) -> None:
    """Turn pointers into a sheet into rows and columns of the file; what is known of a column stays."""
    for error in errors:
        parts = error["pointer"].strip("/").split("/")
        row, column = rows[0], parts[0] or None
        if parts[0] == "readings" and len(parts) > 1 and parts[1].isdecimal():
            row = rows[int(parts[1])]
            column = parts[2] if len(parts) > 2 else None
            if column == "value" and parts[-1] == "unit":
                column = "unit"
            if column == "held":
                column = "held_high" if parts[-1] == "1" else "held_low"
            column = "tool" if column == "tool_id" else column
        elif parts[0] == "room":
            column = "humidity" if "relative_humidity" in parts else "temperature"
        if column is None or column not in known:
            result.wrong(row, column, error["message"])


def _lines(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the lines that hold something, each with its number as editors count."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    before = 0
    for cells in reader:
        number, before = before + 1, reader.line_num
        if any(cell.strip() for cell in cells):
            yield number, cells


def _unreadable(error: csv.Error) -> str:
    return f"cannot be read as CSV: {error}; is a quotation mark left open?"


def _in_utc(text: str | None) -> str | None:
    """Return a moment in one way of writing; what is none is left for the sheet's own check."""
    try:
        instant: datetime | None = _INSTANT.deserialize(text)
    except ValidationError:
        return text
    return text if instant is None else instant_text(instant)


class _Reader:
    """Reads the lines of a file into sheets, collecting what is wrong with them."""

    def __init__(self, session: Session, result: Result) -> None:
        self.session, self.result = session, result
        self.tools = {tool.name: tool.id for tool in session.scalars(select(Tool))}
        self.instruments: dict[tuple[str, ...], Instrument | str] = {}
        self.decimal_comma = False

    def read(self, text: str) -> list[_Sheet]:
        """Return the sheets in the order of their first rows."""
        text = text.removeprefix("\ufeff")
        separator = next((each for each in ";\t" if each in text.partition("\n")[0]), ",")
        self.decimal_comma = separator != ","
        lines = _lines(text, separator)
        try:
            first, header = next(lines, (1, []))
        except csv.Error as error:
            self.result.wrong(1, None, _unreadable(error))
            return []
        self._header(first, header)
        if self.result.problems:
            return []
        sheets: dict[tuple[Any, ...], _Sheet] = {}
        number = first
        try:
            for number, cells in lines:
                self.result.rows += 1
                if self.result.rows > MOST_ROWS:
                    self.result.wrong(number, None, f"a file has {MOST_ROWS} rows at most; cut it into parts")
                    break
                self._row(number, header, cells, sheets)
        except csv.Error as error:
            self.result.wrong(number + 1, None, _unreadable(error))
        return list(sheets.values())

    def _header(self, first: int, header: list[str]) -> None:
        if len(header) > MOST_COLUMNS:
            self.result.wrong(first, None, f"has {len(header)} columns; there are {', '.join(COLUMNS)}")
            return
        header[:] = [name.strip() for name in header]
        for n, name in enumerate(header):
            if name not in COLUMNS:
                self.result.wrong(first, name, f"is not a column here; there are {', '.join(COLUMNS)}")
            elif name in header[:n]:
                self.result.wrong(first, name, "stands twice")
        for name in ("taken_at", "stage", "quantity"):
            if name not in header:
                self.result.wrong(first, name, "is needed")

    def _row(
        self, number: int, header: list[str], line: list[str], sheets: dict[tuple[Any, ...], _Sheet]
    ) -> None:
        if len(line) != len(header):
            self.result.wrong(number, None, "has more or fewer cells than the header")
            return
        filled = zip(header, (cell.strip() for cell in line), strict=True)
        cells = {name: undefused(cell) for name, cell in filled if cell}
        told, before = len(self.result.problems), self.result.found
        instrument = self._instrument(number, cells)
        reading = self._reading(number, cells)
        body = self._sheet(number, cells)
        if self.result.found > before or instrument is None:
            if self.result.untold:
                return  # further problems are not listed, and finding them takes long
            # it is not kept: what else is wrong with it is told at once
            known = {problem["column"] for problem in self.result.problems[told:]}
            _, errors = load(ReadingSheetIn(), body | {"id": str(_SHEETS), "readings": [reading]})
            _tell(self.result, [number], errors, known)
            return
        key = (instrument.id, *(str(part) for part in body.values()))
        sheet = sheets.get(key)
        if sheet is None:
            made, former = (
                uuid5(_SHEETS, f"{instrument.id}/{taken_at}/{body['stage']}")
                for taken_at in (body["taken_at"], cells["taken_at"])
            )
            more = {"id": str(made), "readings": [], "note": REASON}
            sheet = sheets[key] = _Sheet(instrument, body | more, former)
        sheet.body["readings"].append(reading)
        sheet.rows.append(number)

    def _instrument(self, number: int, cells: dict[str, str]) -> Instrument | None:
        key = tuple(cells.get(name, "") for name in ("instrument_id", "maker", "model", "serial"))
        if key not in self.instruments:
            self.instruments[key] = self._find(*key)
        found = self.instruments[key]
        if isinstance(found, str):
            self.result.wrong(number, "instrument_id" if key[0] else "serial", found)
            return None
        return found

    def _find(self, identifier: str, maker: str, model: str, serial: str) -> Instrument | str:
        if identifier:
            try:
                found = self.session.get(Instrument, UUID(identifier))
            except ValueError:
                return "is no id of this service; where it is not known, leave it empty and fill in serial"
            return found or "no instrument of this shop has this id"
        if not serial:
            return "name the instrument: its id, or its serial and, where that is not enough, maker and model"
        wanted = select(Instrument).where(Instrument.serial == serial)
        if maker or model:
            wanted = wanted.join(InstrumentModel, InstrumentModel.id == Instrument.model_id)
        if maker:
            wanted = wanted.where(InstrumentModel.maker == maker)
        if model:
            wanted = wanted.where(InstrumentModel.name == model)
        rows = list(self.session.scalars(wanted.limit(2)))
        if not rows:
            return "no instrument has this serial; add it first"
        return rows[0] if len(rows) == 1 else "several instruments have this serial: name maker and model too"

    def _reading(self, number: int, cells: dict[str, str]) -> dict[str, Any]:
        reading: dict[str, Any] = {
            name: cells[name] for name in ("quantity", "side", "pickup", "method", "note") if name in cells
        }
        for name in WHOLE:
            if name in cells:
                reading[name] = self._whole(number, name, cells[name])
        held = [reading.pop(name) for name in ("held_low", "held_high") if name in reading]
        if held:
            reading["held"] = held
        for name in ("zero_or_less", "confirmed"):
            if name in cells:
                reading[name] = self._truth(number, name, cells[name])
        if "value" in cells:
            reading["value"] = {
                "value": self._number(number, "value", cells["value"]),
                "unit": cells.get("unit", "mm"),
            }
        if "tool" in cells:
            if cells["tool"] in self.tools:
                reading["tool_id"] = str(self.tools[cells["tool"]])
            else:
                self.result.wrong(number, "tool", "no tool of this shop has this name")
        return reading

    def _sheet(self, number: int, cells: dict[str, str]) -> dict[str, Any]:
        body: dict[str, Any] = {"stage": cells.get("stage"), "taken_at": _in_utc(cells.get("taken_at"))}
        for name in ("taken_at", "stage", "quantity"):
            if name not in cells:
                self.result.wrong(number, name, "is needed")
        body["at_pitch"] = self._truth(number, "at_pitch", cells.get("at_pitch", "yes"))
        body["acclimatised"] = self._truth(number, "acclimatised", cells.get("acclimatised", "yes"))
        if "position" in cells:
            body["position"] = cells["position"]
        if "temperature" in cells or "humidity" in cells:
            if "temperature" not in cells or "humidity" not in cells:
                missing = "humidity" if "temperature" in cells else "temperature"
                self.result.wrong(number, missing, "room air has a temperature and a humidity")
            else:
                body["room"] = {
                    "temperature": {
                        "value": self._number(number, "temperature", cells["temperature"]),
                        "unit": cells.get("temperature_unit", "degC"),
                    },
                    "relative_humidity": {
                        "value": self._number(number, "humidity", cells["humidity"]),
                        "unit": "percent",
                    },
                }
        return body

    def _whole(self, number: int, column: str, text: str) -> int | None:
        if not _WHOLE.fullmatch(text):
            self.result.wrong(number, column, f"must be a whole number; {text[:40]!r} was given")
            return None
        return int(text)

    def _number(self, number: int, column: str, text: str) -> float | None:
        plain = text.replace(",", ".") if self.decimal_comma else text
        if not _NUMBER.fullmatch(plain):
            wanted = "point or comma" if self.decimal_comma else "point"
            self.result.wrong(
                number, column, f"must be a number with a decimal {wanted}; {text[:40]!r} was given"
            )
            return None
        return float(plain)

    def _truth(self, number: int, column: str, text: str) -> bool:
        if text.lower() not in YES:
            self.result.wrong(number, column, f"must be yes or no; {text[:40]!r} was given")
        return YES.get(text.lower(), False)

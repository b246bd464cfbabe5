"""Readings from before this service, from a CSV file: every problem told by row, or all of them kept."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
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
from shimstock_server.web.parsing import load
from shimstock_server.web.problems import FieldError, InvalidFields, Problem

COLUMNS = (
    "instrument_id", "maker", "model", "serial", "taken_at", "stage", "at_pitch", "position", "acclimatised",
    "temperature", "temperature_unit", "humidity", "quantity", "side", "string", "pickup", "fret", "held_low",
    "held_high", "capo", "method", "value", "unit", "zero_or_less", "tool", "confirmed", "note",
)  # fmt: skip
"""Columns that the file may have, in any order; taken_at, stage, quantity and an instrument are needed."""

MOST_ROWS = 20_000
WHOLE = ("string", "fret", "held_low", "held_high", "capo")
YES = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
REASON = "readings from before this service, imported"
_SHEETS = uuid5(NAMESPACE_URL, "shimstock:earlier-sheet")


@dataclass
class Result:
    """What became of a file."""

    rows: int = 0
    sheets: int = 0
    readings: int = 0
    problems: list[dict[str, Any]] = field(default_factory=list)

    def wrong(self, row: int, column: str | None, message: str) -> None:
        """Note a problem; the header is row 1."""
        self.problems.append({"row": row, "column": column, "message": message})


@dataclass
class _Sheet:
    """Rows that were read at one time on one instrument."""

    instrument: Instrument
    body: dict[str, Any]
    rows: list[int] = field(default_factory=list)


def import_readings(session: Session, text: str, *, actor: Actor, now: datetime) -> Result:
    """Keep the readings of a file, each sheet in a job of its instrument and day that is closed at once.

    Everything goes through the same checks as at the bench. The caller undoes the transaction when there are
    problems or when it was only a trial.
    """
    result = Result()
    sheets = _Reader(session, result).read(text)
    zone = ZoneInfo(settings(session).zone)
    jobs: dict[tuple[UUID, Any], Job] = {}
    for sheet in sheets:
        taken_at = datetime.fromisoformat(sheet.body["taken_at"])
        day = sheet.instrument.id, taken_at.astimezone(zone).date()
        if session.get(ReadingSheet, UUID(sheet.body["id"])) is not None:
            result.wrong(sheet.rows[0], None, "these readings were imported before")
            continue
        wish, errors = load(ReadingSheetIn(), sheet.body)
        if errors:
            _tell(result, sheet, errors)
            continue
        try:
            with session.begin_nested():
                if day not in jobs:
                    jobs[day] = _job(session, sheet.instrument, actor=actor, now=now)
                record_sheet(session, jobs[day], wish, fingerprint="imported", actor=actor, now=now)
        except Problem as problem:
            jobs.pop(day, None)
            _tell(result, sheet, problem.errors or [{"pointer": "", "message": problem.detail}])
            continue
        result.sheets += 1
        result.readings += len(sheet.rows)
    result.problems.sort(key=lambda problem: (problem["row"], problem["column"] or ""))
    return result


def _job(session: Session, instrument: Instrument, *, actor: Actor, now: datetime) -> Job:
    wish, errors = load(JobIn(), {"instrument_id": str(instrument.id)})
    if errors:
        raise InvalidFields(errors=errors)
    job = check_in(session, wish, actor=actor, now=now)
    return move_job(session, job, {"to": JobState.CANCELLED, "reason": REASON}, actor=actor, now=now)


def _tell(result: Result, sheet: _Sheet, errors: Iterable[FieldError]) -> None:
    """Turn pointers into a sheet into rows and columns of the file."""
    for error in errors:
        parts = error["pointer"].strip("/").split("/")
        row, column = sheet.rows[0], parts[0] or None
        if parts[0] == "readings" and len(parts) > 1 and parts[1].isdecimal():
            row = sheet.rows[int(parts[1])]
            column = parts[2] if len(parts) > 2 else None
            if column == "value" and parts[-1] == "unit":
                column = "unit"
            if column == "held":
                column = "held_high" if parts[-1] == "1" else "held_low"
            column = "tool" if column == "tool_id" else column
        elif parts[0] == "room":
            column = "humidity" if "relative_humidity" in parts else "temperature"
        result.wrong(row, column, error["message"])


class _Reader:
    """Reads the lines of a file into sheets, collecting what is wrong with them."""

    def __init__(self, session: Session, result: Result) -> None:
        self.session, self.result = session, result
        self.tools = {tool.name: tool.id for tool in session.scalars(select(Tool))}
        self.instruments: dict[tuple[str, ...], Instrument | str] = {}

    def read(self, text: str) -> list[_Sheet]:
        """Return the sheets in the order of their first rows."""
        lines = csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""))
        header = [name.strip() for name in lines.fieldnames or ()]
        lines.fieldnames = header
        for name in header:
            if name not in COLUMNS:
                self.result.wrong(1, name, f"is not a column here; there are {', '.join(COLUMNS)}")
        for name in ("taken_at", "stage", "quantity"):
            if name not in header:
                self.result.wrong(1, name, "is needed")
        if self.result.problems:
            return []
        sheets: dict[tuple[Any, ...], _Sheet] = {}
        for number, line in enumerate(lines, start=2):
            self.result.rows += 1
            if self.result.rows > MOST_ROWS:
                self.result.wrong(number, None, f"a file has {MOST_ROWS} rows at most; cut it into parts")
                break
            self._row(number, line, sheets)
        return list(sheets.values())

    def _row(self, number: int, line: dict[str, Any], sheets: dict[tuple[Any, ...], _Sheet]) -> None:
        if None in line or any(value is None for value in line.values()):
            self.result.wrong(number, None, "has more or fewer cells than the header")
            return
        cells = {name: undefused(value.strip()) for name, value in line.items() if value.strip()}
        before = len(self.result.problems)
        instrument = self._instrument(number, cells)
        reading = self._reading(number, cells)
        body = self._sheet(number, cells)
        if len(self.result.problems) > before or instrument is None:
            return
        key = (instrument.id, *(str(part) for part in body.values()))
        sheet = sheets.get(key)
        if sheet is None:
            name = f"{instrument.id}/{body['taken_at']}/{body['stage']}"
            sheet = sheets[key] = _Sheet(
                instrument, body | {"id": str(uuid5(_SHEETS, name)), "readings": [], "note": REASON}
            )
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
                return "is not an id"
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
        body: dict[str, Any] = {"stage": cells.get("stage"), "taken_at": cells.get("taken_at")}
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
        try:
            return int(text)
        except ValueError:
            self.result.wrong(number, column, f"must be a whole number; {text[:40]!r} was given")
            return None

    def _number(self, number: int, column: str, text: str) -> float | None:
        try:
            return float(text)
        except ValueError:
            self.result.wrong(
                number, column, f"must be a number with a decimal point; {text[:40]!r} was given"
            )
            return None

    def _truth(self, number: int, column: str, text: str) -> bool:
        if text.lower() not in YES:
            self.result.wrong(number, column, f"must be yes or no; {text[:40]!r} was given")
        return YES.get(text.lower(), False)

"""Everything that the shop owns as open files: JSON lines with a manifest, and its readings as one CSV."""

from __future__ import annotations

import hashlib
import io
import json
import tempfile
import zipfile
from collections.abc import Iterator
from datetime import datetime
from typing import IO, Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.database.migrate import head
from shimstock_server.database.tables.bench import Reading, ReadingSheet, stands
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import Quantity
from shimstock_server.web.csv_text import write_csv
from shimstock_server.web.fields import instant_text

from .tables import LEFT_OUT, columns_of, exported_tables, file_of, order_of, to_json

FORMAT, VERSION = "shimstock-export", 1
AT_ONCE = 2000
SECRETS = (
    "No secret is in this file. After an import the keys are known by name and open nothing, owners' pages "
    "and calendars have no address, and webhook endpoints are switched off: make new keys and links, and "
    "give each endpoint a new secret before it is switched on."
)
EPOCH = (1980, 1, 1, 0, 0, 0)

READINGS = (
    "reading_sheet_id", "number", "job_number", "instrument_id", "serial", "maker", "model", "stage",
    "taken_at", "at_pitch", "acclimatised", "position", "corrected", "room_temperature_degC",
    "room_humidity_percent", "quantity", "side", "string", "pickup", "fret", "held_low", "held_high", "capo",
    "method", "value", "unit", "typed_value", "typed_unit", "zero_or_less", "tool", "resolution",
    "repeatability", "note",
)  # fmt: skip
"""Columns of readings.csv: one row a reading, for spreadsheets and for whoever reckons on."""


def write_export(session: Session, target: IO[bytes], *, now: datetime) -> dict[str, Any]:
    """Write the export as a zip, and return its manifest.

    Parameters
    ----------
    session : Session
        Sees one state of the database from beginning to end.
    target : binary file
        Where it goes.
    """
    told: list[dict[str, Any]] = []
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive:
        for table in exported_tables():
            columns = columns_of(table)
            names = [column.name for column in columns]
            statement = select(*columns).order_by(*order_of(table))
            lines = (
                json.dumps(
                    dict(zip(names, map(to_json, row), strict=True)),
                    ensure_ascii=False,
                    allow_nan=False,
                    separators=(",", ":"),
                )
                + "\n"
                for row in session.execute(statement.execution_options(yield_per=AT_ONCE))
            )
            told.append({"table": table.name} | _write(archive, file_of(table), lines))
        told_csv = _write(archive, "readings.csv", _readings(session))
        manifest = {
            "format": FORMAT,
            "version": VERSION,
            "revision": head(),
            "exported_at": instant_text(now),
            "tables": told,
            "readings_csv": told_csv,
            "left_out": LEFT_OUT,
            "secrets": SECRETS,
        }
        entry = zipfile.ZipInfo("manifest.json", EPOCH)
        entry.compress_type = zipfile.ZIP_DEFLATED
        archive.writestr(entry, json.dumps(manifest, indent=2, ensure_ascii=False) + "\n")
    return manifest


def export_bytes(session: Session, *, now: datetime) -> bytes:
    """Return the export as bytes."""
    with tempfile.TemporaryFile() as file:
        write_export(session, file, now=now)
        file.seek(0)
        return file.read()


def _write(archive: zipfile.ZipFile, name: str, lines: Iterator[str]) -> dict[str, Any]:
    """Write a file line by line, and return its name, its lines and the hash of its content."""
    digest = hashlib.sha256()
    count = 0
    entry = zipfile.ZipInfo(name, EPOCH)
    entry.compress_type = zipfile.ZIP_DEFLATED
    with archive.open(entry, "w", force_zip64=True) as file:
        buffer = io.BytesIO()
        for line in lines:
            data = line.encode()
            digest.update(data)
            buffer.write(data)
            count += 1
            if buffer.tell() > 1 << 20:
                file.write(buffer.getvalue())
                buffer = io.BytesIO()
        file.write(buffer.getvalue())
    return {"file": name, "rows": count, "sha256": digest.hexdigest()}


def _readings(session: Session) -> Iterator[str]:
    statement = (
        select(
            ReadingSheet.id, Reading.number, Job.number, Instrument.id, Instrument.serial,
            InstrumentModel.maker, InstrumentModel.name, ReadingSheet.stage, ReadingSheet.taken_at,
            ReadingSheet.at_pitch, ReadingSheet.acclimatised, ReadingSheet.position, ~stands(ReadingSheet),
            ReadingSheet.room_temperature, ReadingSheet.room_humidity, Reading.quantity, Reading.side,
            Reading.string, Reading.pickup, Reading.fret, Reading.hold_low, Reading.hold_high, Reading.capo,
            Reading.method, Reading.value, Reading.typed_value, Reading.typed_unit, Reading.zero_or_less,
            Reading.tool_name, Reading.resolution, Reading.repeatability, Reading.note,
        )
        .select_from(ReadingSheet)
        .join(Reading, Reading.sheet_id == ReadingSheet.id)
        .join(Job, Job.id == ReadingSheet.job_id)
        .join(Instrument, Instrument.id == Job.instrument_id)
        .join(InstrumentModel, InstrumentModel.id == Instrument.model_id)
        .order_by(ReadingSheet.taken_at, ReadingSheet.id, Reading.number)
        .execution_options(yield_per=AT_ONCE)
    )  # fmt: skip
    yield write_csv(READINGS, ())
    for row in session.execute(statement):
        cells = [_cell(value) for value in row]
        cells.insert(25, Quantity(cells[15]).term.unit)
        yield write_csv(cells, ())


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    told = to_json(value)
    return "" if told is None else told

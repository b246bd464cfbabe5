"""The readings that reports count: of one model, standing, at pitch, acclimatised, in playing position."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session, aliased

from shimstock_server.database.tables.bench import Reading, ReadingSheet, counts_at
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import Position, Quantity, Side, Stage

OUTER = frozenset(
    {
        Quantity.RELIEF,
        Quantity.ACTION,
        Quantity.NUT_ACTION,
        Quantity.PICKUP_HEIGHT,
        Quantity.SADDLE_OUT,
        Quantity.BREAK_CLEARANCE,
    }
)
"""A reading of these on an outermost string is one of that side."""

FRETTED = frozenset({Quantity.ACTION, Quantity.INTONATION})


class Row(NamedTuple):
    """One reading with what is needed to count and judge it."""

    job_id: UUID
    instrument_id: UUID
    spec_ids: Any
    sheet_id: UUID
    stage: Stage
    taken_at: datetime
    room_temperature: float | None
    room_humidity: float | None
    quantity: Quantity
    side: Side | None
    string: int | None
    pickup: str | None
    fret: int | None
    hold_low: int | None
    hold_high: int | None
    capo: int | None
    value: float
    zero_or_less: bool
    resolution: float | None
    repeatability: float | None


class Place(NamedTuple):
    """Where readings that may be counted together were taken."""

    quantity: Quantity
    place: str
    frets: str


def reading_rows(session: Session, *which: ColumnElement[bool]) -> list[Row]:
    """Return the readings of some jobs, the oldest first; `which` filters instruments, jobs and sheets."""
    later = aliased(ReadingSheet)
    corrected = select(later.id).where(later.supersedes_id == ReadingSheet.id).exists()
    statement = (
        select(
            Job.id,
            Job.instrument_id,
            Job.spec_ids,
            ReadingSheet.id,
            ReadingSheet.stage,
            ReadingSheet.taken_at,
            ReadingSheet.room_temperature,
            ReadingSheet.room_humidity,
            Reading.quantity,
            Reading.side,
            Reading.string,
            Reading.pickup,
            Reading.fret,
            Reading.hold_low,
            Reading.hold_high,
            Reading.capo,
            Reading.value,
            Reading.zero_or_less,
            Reading.resolution,
            Reading.repeatability,
            ReadingSheet.received_at,
        )
        .select_from(Instrument)
        .join(Job, Job.instrument_id == Instrument.id)
        .join(ReadingSheet, ReadingSheet.job_id == Job.id)
        .join(Reading, Reading.sheet_id == ReadingSheet.id)
        .where(
            ReadingSheet.at_pitch,
            ReadingSheet.acclimatised,
            ReadingSheet.position == Position.PLAYING,
            ~corrected,
            *which,
        )
        .order_by(ReadingSheet.taken_at, ReadingSheet.id, Reading.number)
    )
    found = sorted(session.execute(statement), key=lambda each: counts_at(each.taken_at, each.received_at))
    return [Row(*each[:-1]) for each in found]


def of_model(model_id: UUID) -> ColumnElement[bool]:
    """Instruments of a model."""
    return Instrument.model_id == model_id


def taken(first: datetime, last: datetime) -> Sequence[ColumnElement[bool]]:
    """Sheets from an instant on, before another."""
    return ReadingSheet.taken_at >= first, ReadingSheet.taken_at < last


def of_jobs(job_ids: Iterable[UUID]) -> ColumnElement[bool]:
    """Some jobs."""
    return Job.id.in_(list(job_ids))


def place_of(row: Row, strings: int) -> Place:
    """Where a reading was taken, in words that sort and tell."""
    side, string = side_and_string(row, strings)
    where = side.value if side is not None else f"string {string}" if string is not None else ""
    if row.pickup is not None:
        where = f"pickup {row.pickup}" + (f", {where}" if where else "")
    return Place(row.quantity, where, _frets(row))


def side_and_string(row: Row, strings: int) -> tuple[Side | None, int | None]:
    """The side of a reading, or its string."""
    if row.string is not None and row.quantity in OUTER:
        if row.string == 1:
            return Side.TREBLE, None
        if row.string == strings:
            return Side.BASS, None
    return row.side, row.string


def _frets(row: Row) -> str:
    told = []
    if row.hold_low is not None and row.quantity is not Quantity.PICKUP_HEIGHT:
        told.append(
            f"held {row.hold_low}" if row.hold_high is None else f"held {row.hold_low}-{row.hold_high}"
        )
    if row.fret is not None and row.quantity in FRETTED | {Quantity.RELIEF}:
        told.append(f"fret {row.fret}")
    if row.capo is not None:
        told.append(f"capo {row.capo}")
    return ", ".join(told)

"""The readings that reports count: of one model, standing, at pitch, acclimatised, in playing position.

What a bench is known to read too high is taken off.

How an instrument went out tells of each place the newest reading that nothing has moved since, whatever the
stage of its sheet: a final check reads what moved, and leaves what stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session, aliased

from shimstock_calc.plan import model as plan
from shimstock_calc.plan.goals import Spot
from shimstock_calc.plan.staleness import moves
from shimstock_server.database.tables.bench import Adjustment, Reading, ReadingSheet, counts_at, stands
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import WENT_OUT, JobState, Position, Quantity, Side, Stage

from .bench_tools import kept_tools


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
    went_out: bool
    """Whether the instrument went out so: the newest reading of its place, and nothing moved it since."""
    unsure: float = 0.0
    """What is not known of the bench's offset, which is taken off the value: standard deviation."""


class Place(NamedTuple):
    """Where readings that may be counted together were taken."""

    quantity: Quantity
    place: str
    frets: str


def reading_rows(session: Session, model: InstrumentModel, *which: ColumnElement[bool]) -> list[Row]:
    """Return the readings of a model's jobs, the oldest first; `which` filters whole jobs."""
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
            Job.state,
            ReadingSheet.bench_id,
            Reading.tool_id,
        )
        .select_from(Instrument)
        .join(Job, Job.instrument_id == Instrument.id)
        .join(ReadingSheet, ReadingSheet.job_id == Job.id)
        .join(Reading, Reading.sheet_id == ReadingSheet.id)
        .where(
            ReadingSheet.at_pitch,
            ReadingSheet.acclimatised,
            ReadingSheet.position == Position.PLAYING,
            stands(ReadingSheet),
            Instrument.model_id == model.id,
            *which,
        )
        .order_by(ReadingSheet.taken_at, ReadingSheet.id, Reading.number)
    )
    found = session.execute(statement).all()
    tools = kept_tools(session, {each[0] for each in found})
    read = []
    for each in found:
        row = Row._make((*each[:-4], False, 0.0))
        offset = tools.offset(row.job_id, each.bench_id, each.tool_id, row.quantity)
        if offset is not None and not row.zero_or_less:
            row = row._replace(value=round(row.value - offset.mean, 6), unsure=offset.spread)
        read.append((counts_at(each.taken_at, each.received_at), each.state, row))
    read.sort(key=lambda each: each[0])
    return _marked(read, _moved(session, model, *which), model)


def _marked(
    read: Sequence[tuple[datetime, JobState, Row]],
    moved: Mapping[UUID, Sequence[tuple[datetime, plan.Adjustment]]],
    model: InstrumentModel,
) -> list[Row]:
    """Mark of each place the reading that it went out with.

    A job that is done went out as it was last read; of one that is not, readings of stage final alone count.
    """
    bridge, strings = model.bridge["kind"], range(1, model.strings + 1)
    places: dict[tuple[object, ...], Place] = {}
    newest: dict[tuple[UUID, Place], int] = {}
    for number, (_, state, row) in enumerate(read):
        if row.stage is Stage.FINAL or (state in WENT_OUT and row.stage is not Stage.RECHECK):
            where = row[8:16]
            if where not in places:
                places[where] = place_of(row, model.strings)
            newest[row.job_id, places[where]] = number
    rows = [row for *_, row in read]
    for number in newest.values():
        at, _, row = read[number]
        side, string = side_and_string(row, model.strings)
        spot = Spot(row.quantity.value, side.value if side is not None else None, string, row.pickup)
        rows[number] = row._replace(
            went_out=not any(
                done_at >= at and moves(act, spot, bridge, strings)
                for done_at, act in moved.get(row.job_id, ())
            )
        )
    return rows


def _moved(
    session: Session, model: InstrumentModel, *which: ColumnElement[bool]
) -> dict[UUID, list[tuple[datetime, plan.Adjustment]]]:
    """What was done on some jobs, as the plan takes it, and when."""
    found: dict[UUID, list[tuple[datetime, plan.Adjustment]]] = {}
    statement = (
        select(
            Adjustment.job_id,
            Adjustment.done_at,
            Adjustment.received_at,
            Adjustment.part,
            Adjustment.side,
            Adjustment.string,
            Adjustment.pickup,
        )
        .join(Job, Job.id == Adjustment.job_id)
        .join(Instrument, Instrument.id == Job.instrument_id)
        .where(Instrument.model_id == model.id, stands(Adjustment), *which)
    )
    for each in session.execute(statement):
        act = plan.Adjustment(
            "",
            each.part.value,
            0,
            side=each.side.value if each.side is not None else None,
            string=each.string,
            pickup=each.pickup,
        )
        found.setdefault(each.job_id, []).append((counts_at(each.done_at, each.received_at), act))
    return found


def read_between(first: datetime, last: datetime) -> ColumnElement[bool]:
    """Jobs that were read from an instant on, before another."""
    sheet = aliased(ReadingSheet)
    return (
        select(sheet.id)
        .where(sheet.job_id == Job.id, sheet.taken_at >= first, sheet.taken_at < last)
        .exists()
    )


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
    if row.string is not None and row.quantity.term.outer_is_side:
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
    if row.fret is not None and row.quantity.term.fret is not None:
        told.append(f"fret {row.fret}")
    if row.capo is not None:
        told.append(f"capo {row.capo}")
    return ", ".join(told)

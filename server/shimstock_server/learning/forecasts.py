"""What readings were expected to show when they came, and how often it was so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Integer, Select, cast, func, insert, select
from sqlalchemy.orm import Session

from shimstock_calc.belief.calibration import SHARES, reach
from shimstock_calc.belief.forecasts import forecasts
from shimstock_calc.plan.model import PlanInput
from shimstock_calc.plan.model import Reading as Taken
from shimstock_server.database.tables.bench import Reading, ReadingSheet, stands
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.learning import ReadingForecast
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import Quantity

AWAY = Reading.value - ReadingForecast.expected
"""How far a reading lies from what was expected [mm; cents]."""


def keep_forecasts(session: Session, source: PlanInput, sheet: ReadingSheet) -> None:
    """Keep what each reading of a new sheet was expected to show, as it stands before any of them counts."""
    ids = {f"{sheet.id}/{reading.number}": reading.number for reading in sheet.readings}
    taken = {each.id: each for each in source.readings}
    rows = [
        {
            "sheet_id": sheet.id,
            "number": ids[each.reading],
            "expected": each.expected + _offset(taken[each.reading]),
            "spread": each.spread,
            "level": each.level,
            "own": each.own,
            "noise": taken[each.reading].noise,
            "doubtful": each.doubtful,
        }
        for each in forecasts(source, ids)
    ]
    if rows:
        session.execute(insert(ReadingForecast), rows)


def _offset(reading: Taken) -> float:
    """What the plan took off the reading: the forecast is of what the tool shows."""
    return 0.0 if reading.offset is None else reading.offset.mean


def standing_forecasts(*columns: Any) -> Select[Any]:
    """Forecasts of readings that no correction has replaced; one that touched showed no value."""
    return (
        select(*columns)
        .select_from(ReadingForecast)
        .join(ReadingSheet, ReadingSheet.id == ReadingForecast.sheet_id)
        .join(
            Reading,
            (Reading.sheet_id == ReadingForecast.sheet_id) & (Reading.number == ReadingForecast.number),
        )
        .where(stands(ReadingSheet), Reading.zero_or_less.is_(False))
    )


@dataclass(frozen=True)
class CountedForecasts:
    """Readings alike in all that a report tells apart: how many, and how many inside each interval."""

    quantity: Quantity
    tool_id: UUID | None
    bench_id: UUID | None
    model_id: UUID
    doubtful: bool
    inside: tuple[int, ...]
    """Inside the intervals of `SHARES`."""
    of: int


def counted_forecasts(session: Session, start: datetime, stop: datetime) -> list[CountedForecasts]:
    """Count the readings taken between two instants, the second excluded."""
    alike = (
        Reading.quantity,
        Reading.tool_id,
        ReadingSheet.bench_id,
        Instrument.model_id,
        ReadingForecast.doubtful,
    )
    inside = [
        func.sum(cast(func.abs(AWAY) <= reach(share) * ReadingForecast.spread, Integer)) for share in SHARES
    ]
    rows = session.execute(
        _taken(standing_forecasts(*alike, *inside, func.count()), start, stop).group_by(*alike)
    )
    found = []
    for quantity, tool_id, bench_id, model_id, doubtful, *counts, of in rows:
        sums = tuple(int(each) for each in counts)
        found.append(CountedForecasts(quantity, tool_id, bench_id, model_id, doubtful, sums, of))
    return found


def listed_forecasts(session: Session, start: datetime, stop: datetime) -> Sequence[Any]:
    """List every forecast that counts, the oldest first, with what was read."""
    columns = (
        Job.number.label("job"),
        InstrumentModel.maker,
        InstrumentModel.name.label("model"),
        ReadingSheet.taken_at,
        ReadingSheet.id.label("sheet_id"),
        ReadingSheet.bench_id,
        Reading.number,
        Reading.quantity,
        Reading.side,
        Reading.string,
        Reading.pickup,
        Reading.tool_id,
        Reading.value,
        ReadingForecast.expected,
        ReadingForecast.spread,
        ReadingForecast.doubtful,
    )
    listed = _taken(standing_forecasts(*columns), start, stop).join(
        InstrumentModel, InstrumentModel.id == Instrument.model_id
    )
    return session.execute(listed.order_by(ReadingSheet.taken_at, ReadingSheet.id, Reading.number)).all()


def _taken(which: Select[Any], start: datetime, stop: datetime) -> Select[Any]:
    return (
        which.join(Job, Job.id == ReadingSheet.job_id)
        .join(Instrument, Instrument.id == Job.instrument_id)
        .where(ReadingSheet.taken_at >= start, ReadingSheet.taken_at < stop)
    )

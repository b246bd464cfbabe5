"""Counted months as they are kept: written by the worker, read by the reports."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import and_, delete, insert, select
from sqlalchemy.orm import Session

from shimstock_calc.summary import Moments
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.learning import (
    LearningMark,
    ReportBin,
    ReportCell,
    ReportJob,
    ReportMonth,
    ReportTally,
)
from shimstock_server.database.tables.owners import Instrument

from .counting import Cell, CellKey, Cells, count_cells, first_day, merge_cells, month_of, start_of
from .facts import came_back, closings, job_facts
from .judging import Judge
from .parts import in_parts
from .rows import Row, of_jobs, read_between, reading_rows
from .tallies import Tallies, Tally, TallyKey, count_tallies, merge_tallies


def count_period(
    session: Session, model: InstrumentModel, first: datetime, last: datetime, zone: ZoneInfo
) -> tuple[Cells, Tallies]:
    """Count a model's readings, steps and findings straight from the sheets, from an instant to another."""
    whole = reading_rows(session, model, read_between(first, last))
    rows = [row for row in whole if first <= row.taken_at < last]
    verdicts = Judge(session, model).judge(rows)
    back = came_back(session, closings(session, {row.job_id for row in rows}))
    cells = count_cells(rows, verdicts, strings=model.strings, zone=zone, came_back=back)
    return cells, count_tallies(session, model.id, first, last, zone)


def count_month(
    session: Session, model: InstrumentModel, month: int, zone: ZoneInfo
) -> tuple[Cells, Tallies]:
    """Count one month of a model straight from the sheets."""
    first, last = start_of(first_day(month), zone), start_of(first_day(month + 1), zone)
    return count_period(session, model, first, last, zone)


def keep_months(
    session: Session,
    model_id: UUID,
    months: Collection[int],
    cells: Cells,
    tallies: Tallies,
    *,
    now: datetime,
) -> None:
    """Put counts in the place of what was kept of these months."""
    for month in months:
        old = select(ReportCell.id).where(ReportCell.model_id == model_id, ReportCell.month == month)
        session.execute(delete(ReportBin).where(ReportBin.cell_id.in_(old)))
        for table in (ReportCell, ReportTally, ReportMonth):
            session.execute(delete(table).where(table.model_id == model_id, table.month == month))
    if cells:
        keys = sorted(cells)
        made = session.scalars(
            insert(ReportCell).returning(ReportCell.id, sort_by_parameter_order=True),
            [_cell_row(model_id, key, cells[key]) for key in keys],
        )
        bins = [
            {"cell_id": cell_id, "bin": place, "count": count}
            for cell_id, key in zip(made, keys, strict=True)
            for place, count in cells[key].bins.items()
        ]
        if bins:
            session.execute(insert(ReportBin), bins)
    if tallies:
        session.execute(
            insert(ReportTally), [_tally_row(model_id, key, tally) for key, tally in tallies.items()]
        )
    if months:
        session.execute(
            insert(ReportMonth),
            [{"model_id": model_id, "month": month, "counted_at": now} for month in months],
        )


def _cell_row(model_id: UUID, key: CellKey, cell: Cell) -> dict[str, Any]:
    some = cell.moments.count > 0
    return {
        "model_id": model_id,
        **key._asdict(),
        "count": cell.moments.count,
        "mean": cell.moments.mean,
        "squares": cell.moments.squares,
        "lowest": cell.lowest if some else 0.0,
        "highest": cell.highest if some else 0.0,
        "touching": cell.touching,
        "in_spec": cell.in_spec,
        "too_close": cell.too_close,
        "out_of_spec": cell.out_of_spec,
    }


def _tally_row(model_id: UUID, key: TallyKey, tally: Tally) -> dict[str, Any]:
    return {
        "model_id": model_id,
        **key._asdict(),
        "jobs": tally.jobs,
        "count": tally.way.count,
        "mean": tally.way.mean,
        "squares": tally.way.squares,
    }


def facts_of(
    session: Session,
    model: InstrumentModel,
    job_ids: Iterable[UUID],
    zone: ZoneInfo,
    *,
    known: tuple[Sequence[Row], Judge] | None = None,
) -> list[dict[str, Any]]:
    """Work out what some jobs of a model took; those that are not done have no row."""
    closed = closings(session, job_ids)
    if not closed:
        return []
    if known is not None:
        read, judge = known
    else:
        read = [row for some in in_parts(closed) for row in reading_rows(session, model, of_jobs(some))]
        judge = Judge(session, model)
    return job_facts(
        session,
        closed,
        came_back(session, closed),
        read,
        judge.judge(read),
        model_id=model.id,
        strings=model.strings,
        zone=zone,
    )


def keep_facts(session: Session, job_ids: Iterable[UUID], facts: Sequence[dict[str, Any]]) -> None:
    """Put facts in the place of what was kept of these jobs."""
    for some in in_parts(job_ids):
        session.execute(delete(ReportJob).where(ReportJob.job_id.in_(some)))
    if facts:
        session.execute(insert(ReportJob), list(facts))


def touched_months(session: Session, job_ids: Iterable[UUID], zone: ZoneInfo) -> dict[UUID, set[int]]:
    """Return the months in which some jobs were read or worked on, by model."""
    found: dict[UUID, set[int]] = {}
    for some in in_parts(job_ids):
        for table, at in ((ReadingSheet, ReadingSheet.taken_at), (Adjustment, Adjustment.done_at)):
            rows = session.execute(
                select(Instrument.model_id, at)
                .select_from(Job)
                .join(Instrument, Instrument.id == Job.instrument_id)
                .join(table, table.job_id == Job.id)
                .where(Job.id.in_(some))
            )
            for model_id, instant in rows:
                found.setdefault(model_id, set()).add(month_of(instant.astimezone(zone).date()))
    return found


def dirty_months(session: Session, model_id: UUID, zone: ZoneInfo) -> set[int]:
    """Return the months of a model that changed since they were counted."""
    jobs = session.scalars(
        select(LearningMark.job_id)
        .join(Job, Job.id == LearningMark.job_id)
        .join(Instrument, Instrument.id == Job.instrument_id)
        .where(Instrument.model_id == model_id)
        .distinct()
    ).all()
    return touched_months(session, jobs, zone).get(model_id, set()) if jobs else set()


def kept_cells(session: Session, model_id: UUID, months: tuple[int, int], without: Collection[int]) -> Cells:
    """Read the kept counts of a model from one month to another, without some."""
    which = and_(ReportCell.model_id == model_id, ReportCell.month.between(*months))
    if without:
        which = and_(which, ReportCell.month.not_in(list(without)))
    bins: dict[int, dict[int, int]] = {}
    counted = (
        select(ReportBin.cell_id, ReportBin.bin, ReportBin.count)
        .join(ReportCell, ReportCell.id == ReportBin.cell_id)
        .where(which)
    )
    for cell_id, place, count in session.execute(counted):
        bins.setdefault(cell_id, {})[place] = count
    found: Cells = {}
    for row in session.scalars(select(ReportCell).where(which)):
        key = CellKey(row.month, row.quantity, row.place, row.frets, row.stage)
        some = row.count > 0
        found[key] = Cell(
            Moments(row.count, row.mean, row.squares),
            bins.get(row.id, {}),
            row.lowest if some else float("inf"),
            row.highest if some else float("-inf"),
            row.touching,
            row.in_spec,
            row.too_close,
            row.out_of_spec,
        )
    return found


def kept_tallies(
    session: Session, model_id: UUID, months: tuple[int, int], without: Collection[int]
) -> Tallies:
    """Read the kept tallies of a model from one month to another, without some."""
    rows = session.scalars(
        select(ReportTally).where(ReportTally.model_id == model_id, ReportTally.month.between(*months))
    )
    return {
        TallyKey(row.month, row.what, row.name, row.unit): Tally(
            row.jobs, Moments(row.count, row.mean, row.squares)
        )
        for row in rows
        if row.month not in without
    }


def counted_period(
    session: Session, model: InstrumentModel, first: date, last: date, zone: ZoneInfo
) -> tuple[Cells, Tallies]:
    """Count a model's readings in a period of shop days, both days included.

    Notes
    -----
    Whole months come from what is kept; months at the edges of the period and those that changed since they
    were counted are counted straight from the sheets. So the answer is never behind the readings, and
    its cost grows with the months, not with the readings behind them.
    """
    begin, end = month_of(first), month_of(last)
    whole = range(
        begin if first.day == 1 else begin + 1,
        end + 1 if month_of(date.fromordinal(last.toordinal() + 1)) != end else end,
    )
    dirty = {month for month in dirty_months(session, model.id, zone) if month in whole}
    spans: list[tuple[date, date]] = []
    if len(whole) == 0:
        spans.append((first, date.fromordinal(last.toordinal() + 1)))
    else:
        spans += [(first, first_day(whole[0]))] if first < first_day(whole[0]) else []
        after = date.fromordinal(last.toordinal() + 1)
        spans += [(first_day(whole[-1] + 1), after)] if first_day(whole[-1] + 1) < after else []
        spans += [(first_day(month), first_day(month + 1)) for month in sorted(dirty)]
    counted = [
        count_period(session, model, start_of(start, zone), start_of(stop, zone), zone)
        for start, stop in spans
    ]
    cells = [each for each, _ in counted]
    tallies = [each for _, each in counted]
    if whole:
        span = (whole[0], whole[-1])
        cells.append(kept_cells(session, model.id, span, dirty))
        tallies.append(kept_tallies(session, model.id, span, dirty))
    return merge_cells(cells), merge_tallies(tallies)


def counted_facts(
    session: Session, model: InstrumentModel, first: date, last: date, zone: ZoneInfo
) -> list[dict[str, Any]]:
    """Return what the jobs of a model took that were done in a period of shop days.

    Jobs that changed since they were counted are worked out now.
    """
    marked = set(
        session.scalars(
            select(LearningMark.job_id)
            .join(Job, Job.id == LearningMark.job_id)
            .join(Instrument, Instrument.id == Job.instrument_id)
            .where(Instrument.model_id == model.id)
        )
    )
    columns = [column for column in ReportJob.__table__.columns if column.name != "took"]
    rows = session.execute(
        select(*columns)
        .where(ReportJob.model_id == model.id, ReportJob.day.between(first, last))
        .order_by(ReportJob.day, ReportJob.job_id)
    )
    kept = [dict(row._mapping) for row in rows if row.job_id not in marked]
    new = facts_of(session, model, marked, zone) if marked else []
    return kept + [row for row in new if first <= row["day"] <= last]

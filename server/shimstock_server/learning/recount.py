"""The worker's part: what changed is counted anew while benches go on, then what was learned is pooled."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from typing import Any, NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import delete, func, select, text
from sqlalchemy.orm import Session

from shimstock_server.clock import Clock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.learning import LearningMark, ReportJob, ReportMonth
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import ResponseKind
from shimstock_server.shop import ShopNotSetUp, settings

from .counting import Cells, count_cells
from .facts import came_back, closings
from .judging import Judge
from .marks import clear_marks, standing_marks
from .messages import keep_messages, messages_of
from .minutes import keep_minutes, pooled_minutes
from .noises import keep_noises, learned_noises, where_read
from .parts import in_parts
from .responses import Kept, keep_learned, pooled
from .rows import reading_rows
from .store import count_month, facts_of, keep_facts, keep_months, touched_months
from .tallies import Tallies, count_tallies

JOBS_AT_ONCE = 10
"""Jobs that are written in one transaction: a bench never waits long for the worker."""

EVERY = 5.0
"""Pause between two rounds: so far behind what was learned and ranked can be, while a worker runs [s]."""

_LOCK = 0x1EA12


@dataclass
class _Counted:
    """What was counted in a reading session, to be written in one go."""

    marks: list[UUID] = field(default_factory=list)
    jobs: list[UUID] = field(default_factory=list)
    months: list[tuple[UUID, int, Cells, Tallies]] = field(default_factory=list)
    facts: list[dict[str, Any]] = field(default_factory=list)
    messages: list[dict[str, Any]] = field(default_factory=list)
    noises: list[dict[str, Any]] = field(default_factory=list)


def work_off_marks(database: Database, config: Config, clock: Clock) -> int:
    """Count and learn anew what changed since the last round; return how many jobs that were."""
    info = {"now": clock.now(), "secret": config.secret}
    done: set[UUID] = set()
    held: UUID | None = None  # stays until all is learned: whoever is killed before leaves it to the next
    while True:
        with database.read(info) as session:
            counted = _count(session, without=held)
        if not counted.marks:
            break
        with database.write(info) as session:
            if not _alone(session) or not _still_there(session, counted.marks):
                break  # another worker is at it
            held = held or counted.marks[0]
            _write(session, counted, [mark for mark in counted.marks if mark != held])
        done |= set(counted.jobs)
    if held is not None:
        _learn(database, info, held)
    return len(done)


def _learn(database: Database, info: dict[str, Any], held: UUID) -> None:
    """Pool messages and minutes while benches write, keep what came of it, and clear the held mark."""
    with database.read(info) as session:
        learned = _pooled(session)
    with database.write(info) as session:
        if not _alone(session):
            return
        if not _still_there(session, [held]):
            learned = _pooled(session)  # another worker counted meanwhile
        _keep_learned(session, learned)
        clear_marks(session, [held])


class _Learned(NamedTuple):
    """What all jobs teach together."""

    responses: dict[ResponseKind, Kept]
    minutes: list[dict[str, Any]]


def _pooled(session: Session) -> _Learned:
    return _Learned({kind: pooled(session, kind) for kind in ResponseKind}, pooled_minutes(session))


def _keep_learned(session: Session, learned: _Learned) -> None:
    for kind, rows in learned.responses.items():
        keep_learned(session, kind, rows, now=session.info["now"])
    keep_minutes(session, learned.minutes)


def _count(session: Session, without: UUID | None) -> _Counted:
    zone = _zone(session)
    counted = _Counted()
    if zone is None:
        return counted
    for mark, job_id in standing_marks(session, without=without).items():
        if job_id not in counted.jobs:
            if len(counted.jobs) == JOBS_AT_ONCE:
                continue
            counted.jobs.append(job_id)
        counted.marks.append(mark)
    counted.messages = messages_of(session, counted.jobs)
    counted.noises = learned_noises(session, where_read(session, counted.jobs))
    for model_id, job_ids in _by_model(session, counted.jobs).items():
        model = session.get_one(InstrumentModel, model_id)
        counted.facts += facts_of(session, model, job_ids, zone)
        for month in sorted(touched_months(session, job_ids, zone).get(model_id, ())):
            counted.months.append((model_id, month, *count_month(session, model, month, zone)))
    return counted


def _write(session: Session, counted: _Counted, done_with: Collection[UUID]) -> None:
    for model_id, month, cells, tallies in counted.months:
        keep_months(session, model_id, {month}, cells, tallies, now=session.info["now"])
    keep_facts(session, counted.jobs, counted.facts)
    keep_messages(session, counted.jobs, counted.messages)
    keep_noises(session, counted.noises)
    clear_marks(session, done_with)


def rebuild(
    database: Database,
    config: Config,
    clock: Clock,
    tell: Callable[[int, int], None] | None = None,
) -> int:
    """Count everything anew, model by model, while the service works; return how many models there are.

    Parameters
    ----------
    tell : callable
        Told how many models of how many are done.
    """
    info = {"now": clock.now(), "secret": config.secret}
    with database.read(info) as session:
        if _zone(session) is None:
            return 0
        models = list(session.scalars(select(InstrumentModel.id).order_by(InstrumentModel.id)))
    for number, model_id in enumerate(models, start=1):
        while not _rebuild_model(database, info, model_id):
            pass
        if tell is not None:
            tell(number, len(models))
    with database.write(info) as session:
        _keep_learned(session, _pooled(session))
        keep_noises(session, learned_noises(session, where_read(session)))
    return len(models)


def _rebuild_model(database: Database, info: dict[str, Any], model_id: UUID) -> bool:
    """Count a model anew; False when a worker counted some of it meanwhile."""
    with database.read(info) as session:
        zone = _zone(session)
        assert zone is not None
        state = _state(session, model_id)
        model = session.get_one(InstrumentModel, model_id)
        jobs = list(
            session.scalars(
                select(Job.id).join(Instrument, Instrument.id == Job.instrument_id)
                .where(Instrument.model_id == model_id).order_by(Job.id)
            )
        )  # fmt: skip
        marks = [
            mark
            for some in in_parts(jobs)
            for mark in session.scalars(select(LearningMark.id).where(LearningMark.job_id.in_(some)))
        ]
        rows = reading_rows(session, model)
        judge = Judge(session, model)
        back = came_back(session, closings(session, jobs))
        cells = count_cells(rows, judge.judge(rows), strings=model.strings, zone=zone, came_back=back)
        tallies = count_tallies(session, model_id, None, None, zone)
        facts = facts_of(session, model, jobs, zone, known=(rows, judge))
    with database.write(info) as session:
        if _state(session, model_id) != state:
            return False
        kept = {month for (month, _) in state}
        months = {key.month for key in cells} | {key.month for key in tallies} | kept
        keep_months(session, model_id, months, cells, tallies, now=session.info["now"])
        session.execute(delete(ReportJob).where(ReportJob.model_id == model_id))
        keep_facts(session, jobs, facts)
        for some in in_parts(marks):
            clear_marks(session, some)
    for start in range(0, len(jobs), JOBS_AT_ONCE):
        some = jobs[start : start + JOBS_AT_ONCE]
        with database.read(info) as session:
            said = messages_of(session, some)
        with database.write(info) as session:
            keep_messages(session, some, said)
    return True


def _state(session: Session, model_id: UUID) -> frozenset[tuple[int, Any]]:
    """What was counted of a model, and when."""
    rows = session.execute(
        select(ReportMonth.month, ReportMonth.counted_at).where(ReportMonth.model_id == model_id)
    )
    return frozenset((row.month, row.counted_at) for row in rows)


def _by_model(session: Session, job_ids: list[UUID]) -> dict[UUID, list[UUID]]:
    found: dict[UUID, list[UUID]] = {}
    rows = session.execute(
        select(Instrument.model_id, Job.id)
        .join(Job, Job.instrument_id == Instrument.id)
        .where(Job.id.in_(job_ids))
        .order_by(Job.id)
    )
    for model_id, job_id in rows:
        found.setdefault(model_id, []).append(job_id)
    return found


def _still_there(session: Session, marks: list[UUID]) -> bool:
    """Whether no other worker has worked these marks off: its counts may be newer."""
    left = session.scalar(select(func.count()).select_from(LearningMark).where(LearningMark.id.in_(marks)))
    return left == len(marks)


def _alone(session: Session) -> bool:
    """Whether no other worker writes counts now."""
    if session.get_bind().dialect.name == "sqlite":
        return True
    found: Any = session.execute(text("SELECT pg_try_advisory_xact_lock(:lock)"), {"lock": _LOCK}).scalar()
    return bool(found)


def _zone(session: Session) -> ZoneInfo | None:
    try:
        return ZoneInfo(settings(session).zone)
    except ShopNotSetUp:
        return None

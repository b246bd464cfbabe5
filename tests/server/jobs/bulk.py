"""Many jobs at once, with the moves that brought them where they are, written past the service."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import func, insert, select, text, update
from sqlalchemy.orm import Session

from shimstock_server.database.session import Database
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.jobs import Job, JobMove, JobNumber
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import JobState as S
from shimstock_server.jobs.work import stored_wants
from tests.server.workshop import Workshop

FROM = datetime(2026, 1, 5, 8, 0, tzinfo=UTC)
NO_PROMISE = date(9999, 12, 31)
VISITS = 3
"""Jobs of each instrument."""
FINISHED = (S.RECEIVED, S.QUEUED, S.CANCELLED)
QUEUED = (S.RECEIVED, S.QUEUED)


def fill(database: Database, shop: Workshop, *, queued: int, finished: int) -> list[UUID]:
    """Write jobs with their histories, and return the ids of those in the queue."""
    with database.write({"now": FROM}) as session:
        if not database.is_sqlite:  # no triggers for this transaction: they take most of its time
            session.execute(text("SET LOCAL session_replication_role = replica"))
        number = session.scalar(select(func.max(Job.number))) or 0
        jobs: list[Any] = []
        moves: list[Any] = []
        waiting: list[UUID] = []
        instruments = _instruments(session, UUID(shop.ids["instrument"]), 1 + (finished + queued) // VISITS)
        for n in range(finished + queued):
            history = FINISHED if n < finished else QUEUED
            job, made = _job(number + n + 1, instruments[n // VISITS]["id"], history)
            jobs.append(job)
            moves += made
            if history is QUEUED:
                waiting.append(job["id"])
        for rows, table in ((instruments, Instrument), (jobs, Job), (moves, JobMove)):
            for part in _parts(rows):
                session.execute(insert(table), part)
        session.execute(update(JobNumber).values(last=number + len(jobs)))
    return waiting


def _instruments(session: Session, like: UUID, count: int) -> list[dict[str, Any]]:
    """Make instruments like one that is there."""
    pattern = session.get_one(Instrument, like)
    same = {column.name: getattr(pattern, column.name) for column in Instrument.__table__.columns}
    return [same | {"id": new_id(), "serial": None} for _ in range(count)]


def _job(number: int, instrument_id: UUID, history: tuple[S, ...]) -> tuple[dict[str, Any], list[Any]]:
    at = FROM + timedelta(minutes=number)
    job_id, ids = new_id(), [new_id() for _ in history]
    job = {
        "id": job_id, "number": number, "instrument_id": instrument_id, "state": history[-1],
        "move_id": ids[-1], "priority": 5, "promised_on": NO_PROMISE, "queued_at": at,
        "wants": stored_wants({}),
        "services": [], "worked_minutes": 0, "spec_ids": [], "created_at": at, "updated_at": at, "version": 1,
    }  # fmt: skip
    moves = [
        {"id": move_id, "job_id": job_id, "sequence": n + 1, "to_state": state,
         "from_state": history[n - 1] if n else None, "created_at": at}
        for n, (move_id, state) in enumerate(zip(ids, history, strict=True))
    ]  # fmt: skip
    return job, moves


def _parts(rows: list[Any], size: int = 5000) -> Iterator[list[Any]]:
    for start in range(0, len(rows), size):
        yield rows[start : start + size]

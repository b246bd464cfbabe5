"""The worker's part: jobs that changed are counted anew, then what the shop has learned from them."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from shimstock_server.clock import Clock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.words import ResponseKind
from shimstock_server.shop import ShopNotSetUp, settings

from .marks import clear_marks, standing_marks
from .responses import learn
from .samples import sample_job

JOBS_AT_ONCE = 40
"""Jobs in one transaction: a bench never waits long for the worker."""

EVERY = 5.0
"""Pause between two rounds: so stale can what was learned and counted be at most, while a worker runs [s]."""

_LOCK = 0x1EA12


def work_off_marks(database: Database, config: Config, clock: Clock) -> int:
    """Count and learn anew what changed since the last round; return how many jobs that were."""
    info = {"now": clock.now(), "secret": config.secret}
    done: set[UUID] = set()
    while True:
        with database.write(info) as session:
            jobs = _some(session)
            if not jobs:
                break
            done |= jobs
    if done:
        with database.write(info) as session:
            if _alone(session):
                learn_all(session)
    return len(done)


def learn_all(session: Session) -> None:
    """Pool the samples of every kind."""
    for kind in ResponseKind:
        learn(session, kind, now=session.info["now"])


def _some(session: Session) -> set[UUID]:
    """Work off some marks in one transaction and return their jobs; none when another worker is at it."""
    if not _alone(session) or not _is_set_up(session):
        return set()
    marks = standing_marks(session)
    jobs: set[UUID] = set()
    taken: list[UUID] = []
    for mark, job_id in marks.items():
        if job_id not in jobs and len(jobs) == JOBS_AT_ONCE:
            continue
        jobs.add(job_id)
        taken.append(mark)
    for job in session.scalars(select(Job).where(Job.id.in_(jobs)).order_by(Job.id)):
        sample_job(session, job)
    clear_marks(session, taken)
    return jobs


def _alone(session: Session) -> bool:
    """Whether no other worker counts; two at once could leave the older count standing."""
    if session.get_bind().dialect.name == "sqlite":
        return True
    found: Any = session.execute(text("SELECT pg_try_advisory_xact_lock(:lock)"), {"lock": _LOCK}).scalar()
    return bool(found)


def _is_set_up(session: Session) -> bool:
    try:
        settings(session)
    except ShopNotSetUp:
        return False
    return True

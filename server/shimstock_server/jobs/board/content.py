"""What the board shows: tickets and instruments, benches and technicians; never an owner.

Nothing in it runs on with the clock: it tells since when and until when, so that it changes only when
something happens or falls due.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, datetime
from typing import Any

from sqlalchemy import Row, and_, case, func, select
from sqlalchemy.orm import Session, aliased

from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.jobs import Claim, Job, JobSkill
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.shop import Bench, Technician
from shimstock_server.database.words import JobState
from shimstock_server.shop import local_day, next_opening, settings

from ..claims import is_stale
from ..states import CLAIMED
from ..work import NO_PROMISE

LONGEST = 100
"""Rows of the queue that are told; how many there are is told besides."""

IN_HOUSE = (
    JobState.RECEIVED, JobState.QUEUED, JobState.ON_BENCH, JobState.SETTLING, JobState.WAITING,
    JobState.FINAL_CHECK,
)  # fmt: skip


def board(session: Session, *, now: datetime) -> dict[str, Any]:
    """Gather the board as it stands."""
    shop = settings(session)
    today = local_day(session, now)
    entries = _entries(session, today, now)
    queued = [entry for entry in entries if entry["state"] is JobState.QUEUED]
    return {
        "shop": {"name": shop.name, "zone": shop.zone},
        "day": today,
        "benches": _benches(session, [entry for entry in entries if entry["state"] in CLAIMED]),
        "settling": _of(
            entries, JobState.SETTLING, by=lambda entry: (entry["available_at"], entry["number"])
        ),
        "queue": queued[:LONGEST],
        "waiting": _of(entries, JobState.WAITING),
        "received": _of(entries, JobState.RECEIVED),
        "promised": sorted(
            (entry for entry in entries if entry["promise"] is not None),
            key=lambda entry: (entry["promised_on"], entry["number"]),
        )[:LONGEST],
        "counts": {
            "queued": _count(session, JobState.QUEUED),
            "ready": _count(session, JobState.READY),
        },
    }


def _of(
    entries: Iterable[dict[str, Any]],
    state: JobState,
    by: Callable[[dict[str, Any]], Any] = lambda entry: entry["number"],
) -> list[dict[str, Any]]:
    return sorted((entry for entry in entries if entry["state"] is state), key=by)[:LONGEST]


def _count(session: Session, state: JobState) -> int:
    return session.scalar(select(func.count()).select_from(Job).where(Job.state == state)) or 0


def _query(*where: Any) -> Any:
    holder, last = aliased(Technician), aliased(Technician)
    return (
        select(
            Job.id, Job.number, Job.state, Job.waiting_for, Job.available_at, Job.priority, Job.promised_on,
            InstrumentModel.maker, InstrumentModel.name.label("model"), InstrumentModel.kind, Claim,
            holder.name.label("holder"), last.name.label("last"), Bench.id.label("bench_id"),
            Bench.name.label("bench"),
        )
        .outerjoin(Instrument, Instrument.id == Job.instrument_id)
        .outerjoin(InstrumentModel, InstrumentModel.id == Instrument.model_id)
        .outerjoin(Claim, and_(Claim.id == Job.claim_id, Claim.ended_at.is_(None)))
        .outerjoin(holder, holder.id == Claim.technician_id)
        .outerjoin(last, last.id == Job.last_technician_id)
        .outerjoin(Bench, Bench.id == Claim.bench_id)
        .where(*where)
    )  # fmt: skip


def _entries(session: Session, today: date, now: datetime) -> list[dict[str, Any]]:
    """Everything in the house that is not finished; of the queue its head, in the order of `offer.py`."""
    urgent = Job.promised_on <= today
    others = _query(Job.state.in_([state for state in IN_HOUSE if state is not JobState.QUEUED]))
    queue = (
        _query(Job.state == JobState.QUEUED)
        .order_by(
            case((urgent, 0), else_=1),
            case((urgent, Job.promised_on), else_=NO_PROMISE),
            Job.priority.desc(),
            Job.promised_on,
            Job.queued_at,
            Job.id,
        )
        .limit(LONGEST)
    )
    rows = [*session.execute(others.order_by(Job.number).limit(5 * LONGEST)), *session.execute(queue)]
    skills = _skills(session, [row.id for row in rows])
    return [_entry(session, row, sorted(skills.get(row.id, ())), today, now) for row in rows]


def _skills(session: Session, job_ids: list[Any]) -> dict[Any, list[str]]:
    found: dict[Any, list[str]] = {}
    for job_id, skill in session.execute(
        select(JobSkill.job_id, JobSkill.skill).where(JobSkill.job_id.in_(job_ids))
    ):
        found.setdefault(job_id, []).append(skill.value)
    return found


def _entry(session: Session, row: Row[Any], skills: list[str], today: date, now: datetime) -> dict[str, Any]:
    due = row.state is JobState.SETTLING and row.available_at is not None and row.available_at <= now
    promise = None
    if row.promised_on <= today:
        promise = "today" if row.promised_on == today else "late"
    return {
        "job_id": row.id,
        "number": row.number,
        "maker": row.maker,
        "model": row.model,
        "kind": row.kind,
        "state": row.state,
        "waiting_for": row.waiting_for,
        "technician": row.holder or row.last,
        "bench_id": row.bench_id,
        "bench": row.bench,
        "since": row.Claim.created_at if row.Claim is not None else None,
        "stale": row.Claim is not None and is_stale(session, row.Claim, now=now),
        "available_at": row.available_at,
        "due": due,
        "due_since": (next_opening(session, row.available_at) or row.available_at) if due else None,
        "priority": row.priority,
        "promised_on": None if row.promised_on == NO_PROMISE else row.promised_on,
        "promise": promise,
        "skills": skills,
    }


def _benches(session: Session, held: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Every bench in use with what lies on it, and last what is held away from any bench."""
    benches = session.execute(select(Bench.id, Bench.name, Bench.active).order_by(Bench.name))
    told = [
        {"bench_id": bench.id, "bench": bench.name, "jobs": _at(held, bench.id)}
        for bench in benches
        if bench.active or _at(held, bench.id)
    ]
    elsewhere = _at(held, None)
    return told + ([{"bench_id": None, "bench": None, "jobs": elsewhere}] if elsewhere else [])


def _at(held: list[dict[str, Any]], bench_id: Any) -> list[dict[str, Any]]:
    return sorted(
        (entry for entry in held if entry["bench_id"] == bench_id),
        key=lambda entry: (entry["since"], entry["number"]),
    )

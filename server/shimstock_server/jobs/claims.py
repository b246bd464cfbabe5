"""Taking a job: exactly one technician holds it, and a claim does not expire by itself.

The order in which jobs are offered: a settling job that is due before all others (first to the technician who
worked on it last), then priority (9 first), promised day, time in the queue, id.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Select, and_, case, exists, func, or_, select, update
from sqlalchemy.orm import Session, aliased

from shimstock_server.database.history import emit, record
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.jobs import Claim, Job, JobSkill
from shimstock_server.database.tables.shop import Bench, Technician, TechnicianSkill
from shimstock_server.database.words import JobState
from shimstock_server.shop import last_opening, settings
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields

from . import moves
from .problems import AlreadyClaimed, ClaimEnded, NotClaimable, SkillMissing, TooManyClaims
from .states import CLAIMED


def open_claim(session: Session, job: Job) -> Claim | None:
    """The claim that holds the job now."""
    if job.claim_id is None:
        return None
    return session.get(Claim, job.claim_id)


def describe(session: Session, claim: Claim, *, now: datetime) -> dict[str, Any]:
    """What others are told of a claim: who holds the job, where, since when, and whether it is stale."""
    technician = session.get_one(Technician, claim.technician_id)
    return {
        "id": claim.id,
        "technician_id": claim.technician_id,
        "technician": technician.name,
        "bench_id": claim.bench_id,
        "since": claim.created_at,
        "last_act_at": claim.last_act_at,
        "stale": is_stale(session, claim, now=now),
    }


def is_stale(session: Session, claim: Claim, *, now: datetime) -> bool:
    """Whether the claim's last act lies before the shop last opened."""
    opened = last_opening(session, now)
    return opened is not None and claim.ended_at is None and claim.last_act_at < opened


def named_claim(session: Session, job: Job, claim_id: UUID | None, *, actor: Actor) -> Claim | None:
    """The claim that a move or an adjustment names, once it is sure that it holds the job.

    A manager may leave it out. Raises ClaimEnded with the present holder when it is over.
    """
    if claim_id is None:
        if actor.is_manager:
            return open_claim(session, job)
        raise InvalidFields.at("/claim", "name the claim under which you hold this job")
    if claim_id != job.claim_id:
        holder = open_claim(session, job)
        now = session.info["now"]
        raise ClaimEnded(claim=jsonable(describe(session, holder, now=now)) if holder is not None else None)
    return session.get_one(Claim, claim_id)


def jsonable(description: dict[str, Any]) -> dict[str, Any]:
    """A description of a claim as it stands in a problem."""
    return {
        name: value.isoformat().replace("+00:00", "Z")
        if isinstance(value, datetime)
        else str(value)
        if isinstance(value, UUID)
        else value
        for name, value in description.items()
    }


def end_claim(claim: Claim, why: str, *, now: datetime, note: str | None = None) -> None:
    """End a claim; the job is given its next state or its next claim by the caller."""
    claim.ended_at = now
    claim.end_reason = why
    claim.note = note


def release(job: Job, claim: Claim, why: str, *, now: datetime) -> None:
    """End the claim of a job that leaves the bench, remembering who worked on it last."""
    end_claim(claim, why, now=now)
    job.claim_id = None
    job.last_technician_id = claim.technician_id


def claim_next(session: Session, *, actor: Actor, now: datetime) -> Job | None:
    """Take the next job that suits this bench and technician; None when there is none.

    Raises
    ------
    TooManyClaims
        When the technician holds as many jobs as the shop allows.
    """
    technician_id = _technician(actor)
    _refuse_too_many(session, technician_id)
    claim_id = new_id()
    taken = session.execute(
        update(Job)
        .where(Job.id == next_job(session, actor, technician_id, now).scalar_subquery())
        .values(
            state=JobState.ON_BENCH,
            claim_id=claim_id,
            available_at=None,
            version=Job.version + 1,
            updated_at=now,
        )
        .returning(Job.id, Job.version),
        execution_options={"synchronize_session": False},
    ).one_or_none()
    if taken is None:
        return None
    job = session.get_one(Job, taken.id, populate_existing=True)
    record(
        session,
        "jobs",
        job.id,
        "changed",
        version=job.version,
        after={"state": JobState.ON_BENCH.value, "claim_id": str(claim_id)},
    )
    return _finish_claim(session, job, claim_id, technician_id, actor=actor, now=now)


def next_job(session: Session, actor: Actor, technician_id: UUID, now: datetime) -> Select[UUID]:
    """The query that picks one claimable job, locking it where the database can."""
    candidate = aliased(Job)
    lacking = (
        select(JobSkill.skill)
        .where(JobSkill.job_id == candidate.id)
        .where(
            JobSkill.skill.not_in(
                select(TechnicianSkill.skill).where(TechnicianSkill.technician_id == technician_id)
            )
        )
    )
    query = (
        select(candidate.id)
        .where(
            or_(
                candidate.state == JobState.QUEUED,
                and_(candidate.state == JobState.SETTLING, candidate.available_at <= now),
            )
        )
        .where(~exists(lacking))
        .order_by(
            case((candidate.state == JobState.SETTLING, 0), else_=1),
            case(
                (
                    and_(candidate.state == JobState.SETTLING, candidate.last_technician_id == technician_id),
                    0,
                ),
                else_=1,
            ),
            candidate.priority.desc(),
            candidate.promised_on,
            candidate.queued_at,
            candidate.id,
        )
        .limit(1)
        .with_for_update(skip_locked=True, of=candidate)
    )
    equipped = _bench_skills(session, actor)
    if equipped:
        unfit = select(JobSkill.skill).where(JobSkill.job_id == candidate.id, JobSkill.skill.not_in(equipped))
        query = query.where(~exists(unfit))
    return query


def claim_named(
    session: Session, job: Job, *, take_over: bool, reason: str | None, actor: Actor, now: datetime
) -> Job:
    """Take one named job, or take a stale claim over.

    Raises
    ------
    AlreadyClaimed
        When somebody holds it and the claim is not stale, or no take-over was asked for.
    NotClaimable
        When the job's state does not offer it.
    """
    technician_id = _technician(actor)
    holder = open_claim(session, job)
    if holder is not None:
        _check_take_over(session, job, holder, take_over=take_over, reason=reason, now=now)
    else:
        _check_claimable(job, technician_id, actor, now)
    _check_skills(session, job, technician_id)
    _refuse_too_many(session, technician_id)
    claim_id = new_id()
    if holder is not None:
        end_claim(holder, "taken-over", now=now, note=reason)
        session.flush()
        session.add(_new_claim(job, claim_id, technician_id, actor, now))
        session.flush()
        job.claim_id = claim_id
        job.last_technician_id = holder.technician_id
        session.flush()
        emit(session, "job.claim-taken-over", job, state=job.state.value, claim=str(claim_id),
             ended_claim=str(holder.id))  # fmt: skip
        return job
    return _finish_claim(session, job, claim_id, technician_id, actor=actor, now=now)


def give_back(session: Session, job: Job, claim: Claim, *, actor: Actor, now: datetime) -> Job:
    """End the claim and put the job back into the queue."""
    if job.state is JobState.FINAL_CHECK:
        moves.append_move(session, job, JobState.ON_BENCH, actor=actor, now=now, claim_id=claim.id)
    release(job, claim, "given-back", now=now)
    moves.append_move(
        session, job, JobState.QUEUED, actor=actor, now=now, reason="given back", claim_id=claim.id
    )
    return job


def hand_over(
    session: Session,
    job: Job,
    claim: Claim,
    *,
    technician_id: UUID,
    bench_id: UUID | None,
    note: str | None,
    now: datetime,
) -> Job:
    """Pass the job to another technician, whose claim begins as this one ends."""
    technician = session.get(Technician, technician_id)
    if technician is None or not technician.active:
        raise InvalidFields.at("/technician_id", "no active technician of this shop has this id")
    if bench_id is not None and session.get(Bench, bench_id) is None:
        raise InvalidFields.at("/bench_id", "no bench of this shop has this id")
    _check_skills(session, job, technician_id)
    _refuse_too_many(session, technician_id)
    claim_id = new_id()
    end_claim(claim, "handed-over", now=now, note=note)
    session.flush()
    session.add(
        Claim(
            id=claim_id,
            job_id=job.id,
            technician_id=technician_id,
            bench_id=bench_id or claim.bench_id,
            last_act_at=now,
            created_at=now,
        )
    )
    session.flush()
    job.claim_id = claim_id
    job.last_technician_id = claim.technician_id
    session.flush()
    emit(
        session, "job.handed-over", job, state=job.state.value, claim=str(claim_id), ended_claim=str(claim.id)
    )
    return job


def _finish_claim(
    session: Session, job: Job, claim_id: UUID, technician_id: UUID, *, actor: Actor, now: datetime
) -> Job:
    session.add(_new_claim(job, claim_id, technician_id, actor, now))
    session.flush()
    job.claim_id = claim_id
    moves.append_move(session, job, JobState.ON_BENCH, actor=actor, now=now, claim_id=claim_id)
    return job


def _new_claim(job: Job, claim_id: UUID, technician_id: UUID, actor: Actor, now: datetime) -> Claim:
    return Claim(
        id=claim_id,
        job_id=job.id,
        technician_id=technician_id,
        bench_id=actor.bench_id,
        last_act_at=now,
        created_at=now,
    )


def _technician(actor: Actor) -> UUID:
    if actor.technician_id is None:
        raise InvalidFields.at("/header/Technician", "a claim is somebody's: name the technician")
    return actor.technician_id


def _bench_skills(session: Session, actor: Actor) -> list[str]:
    bench = session.get(Bench, actor.bench_id) if actor.bench_id is not None else None
    return list(bench.skills) if bench is not None else []


def _refuse_too_many(session: Session, technician_id: UUID) -> None:
    held = session.scalar(
        select(func.count())
        .select_from(Claim)
        .where(Claim.technician_id == technician_id, Claim.ended_at.is_(None))
    )
    allowed = settings(session).claims_per_technician
    if (held or 0) >= allowed:
        raise TooManyClaims(
            f"This technician holds {held} jobs and the shop allows {allowed}: "
            "give one back, hand one over, or let one settle."
        )


def _check_skills(session: Session, job: Job, technician_id: UUID) -> None:
    known = set(
        session.scalars(select(TechnicianSkill.skill).where(TechnicianSkill.technician_id == technician_id))
    )
    lacking = sorted({needed.skill for needed in job.skills} - known)
    if lacking:
        raise SkillMissing(f"This job needs {', '.join(lacking)}, which the technician does not have.")


def _check_claimable(job: Job, technician_id: UUID, actor: Actor, now: datetime) -> None:
    if job.state in (JobState.QUEUED, JobState.READY):
        return
    if job.state is JobState.SETTLING and job.available_at is not None:
        if job.available_at <= now or actor.is_manager or job.last_technician_id == technician_id:
            return
        until = job.available_at.isoformat().replace("+00:00", "Z")
        raise NotClaimable(
            f"It settles until {until}; before that only its last technician or a manager takes it."
        )
    raise NotClaimable(
        f"This job is {job.state}; a job can be claimed while queued, ready, or settling and due.",
        allowed_moves=moves.allowed_moves(job),
    )


def _check_take_over(
    session: Session, job: Job, holder: Claim, *, take_over: bool, reason: str | None, now: datetime
) -> None:
    described = describe(session, holder, now=now)
    if job.state not in CLAIMED or not take_over:
        raise AlreadyClaimed(claim=jsonable(described))
    if not described["stale"]:
        raise AlreadyClaimed(
            "Somebody else holds this job, and worked on it since the shop opened; ask for a hand-over.",
            claim=jsonable(described),
        )
    if not reason:
        raise InvalidFields.at("/reason", "say why you take it over; the event names both technicians")

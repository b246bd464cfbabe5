"""Taking a job: exactly one technician holds it, and a claim does not expire by itself."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import bindparam, func, select
from sqlalchemy.orm import Session, joinedload

from shimstock_server.database.history import emit, record
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.jobs import Claim, Job
from shimstock_server.database.tables.shop import Bench, Shop, Technician
from shimstock_server.database.words import JobState, Skill
from shimstock_server.shop import last_opening, settings
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields

from . import moves
from .offer import take_first_offered
from .problems import (
    AlreadyClaimed,
    BenchNotEquipped,
    ClaimEnded,
    NotClaimable,
    SkillMissing,
    TooManyClaims,
)
from .states import CLAIMED

_HELD = (
    select(func.count())
    .select_from(Claim)
    .where(Claim.technician_id == bindparam("technician"), Claim.ended_at.is_(None))
)


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
    if claim.ended_at is not None or claim.last_act_at >= now:
        return False
    opened = _opened(session, now)
    return opened is not None and claim.last_act_at < opened


def _opened(session: Session, now: datetime) -> datetime | None:
    """When the shop last opened, worked out once for each instant of a session."""
    known: dict[datetime, datetime | None] = session.info.setdefault("last_opening", {})
    if now not in known:
        known[now] = last_opening(session, now)
    return known[now]


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
    """Take the job that is offered first (`offer.py`) at this bench to this technician; None without one.

    Raises
    ------
    TooManyClaims
        When the technician holds as many jobs as the shop allows.
    """
    technician = _technician(session, actor)
    shop = settings(session)
    _refuse_too_many(session, technician, shop)
    claim_id, move_id = new_id(), new_id()
    job = take_first_offered(
        session,
        technician_id=technician.id,
        lacking=set(Skill) - _able(technician) | set(Skill) - _equipped(_bench(session, actor.bench_id)),
        claim_id=claim_id,
        move_id=move_id,
        today=now.astimezone(ZoneInfo(shop.zone)).date(),
        now=now,
    )
    if job is None:
        return None
    record(
        session,
        "jobs",
        job.id,
        "changed",
        version=job.version,
        after={"state": JobState.ON_BENCH, "move_id": move_id, "claim_id": claim_id},
    )
    return _finish_claim(session, job, claim_id, technician.id, actor=actor, now=now, move_id=move_id)


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
    SkillMissing, BenchNotEquipped
        When the technician or the bench lacks what the job needs.
    TooManyClaims
        When the technician holds as many jobs as the shop allows.
    """
    technician = _technician(session, actor)
    holder = open_claim(session, job)
    if holder is not None:
        _check_take_over(session, job, holder, take_over=take_over, reason=reason, now=now)
    else:
        _check_claimable(job, technician.id, actor, now)
    _check_fit(job, technician, _bench(session, actor.bench_id))
    if holder is None or holder.technician_id != technician.id:
        _refuse_too_many(session, technician, settings(session))
    if holder is None:
        return _finish_claim(session, job, new_id(), technician.id, actor=actor, now=now)
    claim = _new_claim(job, new_id(), technician.id, actor.bench_id, now)
    _pass_on(session, job, holder, claim, "taken-over", note=reason, now=now)
    return job


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
    technician = _locked(session, technician_id)
    errors: dict[str, str] = {}
    if technician is None or not technician.active:
        errors["/technician_id"] = "no active technician of this shop has this id"
    elif technician_id == claim.technician_id:
        errors["/technician_id"] = "holds this job already; name another technician"
    bench = _bench(session, bench_id or claim.bench_id)
    if bench_id is not None and (bench is None or not bench.active):
        errors["/bench_id"] = "no bench in use in this shop has this id"
    if errors or technician is None:
        raise InvalidFields.of(errors)
    _check_fit(job, technician, bench)
    _refuse_too_many(session, technician, settings(session))
    new = _new_claim(job, new_id(), technician_id, bench_id or claim.bench_id, now)
    _pass_on(session, job, claim, new, "handed-over", note=note, now=now)
    return job


def past_claims(session: Session, job_id: UUID) -> list[dict[str, Any]]:
    """Every claim on a job, the first first."""
    rows = session.execute(
        select(Claim, Technician.name)
        .join(Technician, Technician.id == Claim.technician_id)
        .where(Claim.job_id == job_id)
        .order_by(Claim.created_at, Claim.id)
    )
    names = ("id", "technician_id", "bench_id", "last_act_at", "ended_at", "end_reason", "note")
    return [
        {name: getattr(claim, name) for name in names} | {"since": claim.created_at, "technician": technician}
        for claim, technician in rows
    ]


def _pass_on(
    session: Session, job: Job, old: Claim, new: Claim, why: str, *, note: str | None, now: datetime
) -> None:
    """End one claim and begin the next; the job stays in its state, and the event tells of both."""
    end_claim(old, why, now=now, note=note)
    session.flush()
    session.add(new)
    session.flush()
    job.claim_id = new.id
    job.last_technician_id = old.technician_id
    session.flush()
    emit(
        session,
        f"job.{why}",
        job,
        state=job.state,
        claim=new.id,
        technician=new.technician_id,
        ended_claim=old.id,
        former_technician=old.technician_id,
    )


def _finish_claim(
    session: Session,
    job: Job,
    claim_id: UUID,
    technician_id: UUID,
    *,
    actor: Actor,
    now: datetime,
    move_id: UUID | None = None,
) -> Job:
    claim = _new_claim(job, claim_id, technician_id, actor.bench_id, now)
    session.add(claim)
    session.flush()
    _keep_at_hand(session, claim, session.get(Technician, technician_id))
    job.claim_id = claim_id
    moves.append_move(
        session, job, JobState.ON_BENCH, actor=actor, now=now, claim_id=claim_id, move_id=move_id
    )
    return job


def _keep_at_hand(session: Session, *rows: object) -> None:
    """Keep rows that the answer tells of: the session alone would forget them, and ask for them again."""
    session.info.setdefault("at hand", []).extend(rows)


def _new_claim(job: Job, claim_id: UUID, technician_id: UUID, bench_id: UUID | None, now: datetime) -> Claim:
    return Claim(
        id=claim_id,
        job_id=job.id,
        technician_id=technician_id,
        bench_id=bench_id,
        last_act_at=now,
        created_at=now,
    )


def _technician(session: Session, actor: Actor) -> Technician:
    technician = _locked(session, actor.technician_id) if actor.technician_id is not None else None
    if technician is None:
        raise InvalidFields.at("/header/Technician", "a claim is somebody's: name the technician")
    return technician


def _locked(session: Session, technician_id: UUID) -> Technician | None:
    """Load a technician, so that of two claims by the same one the second waits and counts the first."""
    return session.get(
        Technician,
        technician_id,
        options=[joinedload(Technician.skills)],
        with_for_update={"key_share": True, "of": Technician},
        populate_existing=True,
    )


def _bench(session: Session, bench_id: UUID | None) -> Bench | None:
    return session.get(Bench, bench_id) if bench_id is not None else None


def _able(technician: Technician) -> set[Skill]:
    return {known.skill for known in technician.skills}


def _equipped(bench: Bench | None) -> set[Skill]:
    """What a bench is equipped for: everything, unless its settings name what."""
    return {Skill(skill) for skill in bench.skills} if bench is not None and bench.skills else set(Skill)


def _refuse_too_many(session: Session, technician: Technician, shop: Shop) -> None:
    held = session.scalar(_HELD, {"technician": technician.id})
    allowed = shop.claims_per_technician
    if (held or 0) >= allowed:
        raise TooManyClaims(
            f"{technician.name} holds {held} jobs and the shop allows {allowed}: "
            "give one back, hand one over, or let one settle."
        )


def _check_fit(job: Job, technician: Technician, bench: Bench | None) -> None:
    needed = {row.skill for row in job.skills}
    if lacking := sorted(needed - _able(technician)):
        raise SkillMissing(f"This job needs {', '.join(lacking)}, which {technician.name} does not have.")
    if bench is not None and (lacking := sorted(needed - _equipped(bench))):
        raise BenchNotEquipped(
            f"This job needs {', '.join(lacking)}, for which the {bench.name} is not equipped."
        )


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

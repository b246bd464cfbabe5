"""Moving a job: one appended row a move, in the same transaction as the state that it brings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import bindparam, select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.jobs import Job, JobMove
from shimstock_server.database.words import JobState, WaitingFor
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import InvalidFields

from . import claims, settling
from .problems import InstrumentNeeded, MoveNotAllowed
from .states import CLAIMED, MOVES, Needs

LONGEST_SETTLE = timedelta(days=31)

_LAST_MOVE = (
    select(JobMove.sequence, JobMove.to_state)
    .where(JobMove.job_id == bindparam("job"))
    .order_by(JobMove.sequence.desc())
    .limit(1)
)

Follow = Callable[[Session, Job, JobMove], None]
"""Does what another area does when a job has moved: `follow(session, job, move)`."""

_followers: list[Follow] = []


def on_move(follow: Follow) -> Follow:
    """Register what an area does with every move, in the same transaction."""
    if follow not in _followers:
        _followers.append(follow)
    return follow


FinalCheck = Callable[[Session, Job], None]
"""Raises FinalReadingsNeeded where a job's final readings are not complete: `check(session, job)`."""

_final_checks: list[FinalCheck] = []


def on_final_check(check: FinalCheck) -> FinalCheck:
    """Register what has to hold before a job becomes ready without a reason."""
    if check not in _final_checks:
        _final_checks.append(check)
    return check


def allowed_moves(job: Job) -> list[dict[str, Any]]:
    """The moves that this job can make now, with what each needs."""
    return [
        {"to": target.value, "needs": [need.value for need in needs]}
        for target, needs in MOVES[job.state].items()
    ]


def append_move(
    session: Session,
    job: Job,
    to: JobState,
    *,
    actor: Actor,
    now: datetime,
    reason: str | None = None,
    waiting_for: WaitingFor | None = None,
    rest: settling.Rest | None = None,
    claim_id: UUID | None = None,
    move_id: UUID | None = None,
) -> JobMove:
    """Write the state and the move that brings it, and tell the world; rules are checked by the caller.

    A statement that has brought the state already names the move's id, which it has written to the job.
    """
    with session.no_autoflush:  # state and claim change together or the table's checks refuse them
        last = session.execute(_LAST_MOVE, {"job": job.id}).first()
    move = JobMove(
        id=move_id or new_id(),
        job_id=job.id,
        sequence=last.sequence + 1 if last is not None else 1,
        from_state=last.to_state if last is not None else None,
        to_state=to,
        waiting_for=waiting_for,
        available_at=rest.available_at if rest is not None else None,
        look=rest.look if rest is not None else None,
        readings_asked=rest.readings if rest is not None else None,
        reason=reason,
        claim_id=claim_id,
        key_id=actor.key_id,
        technician_id=actor.technician_id,
        created_at=now,
    )
    job.state = to
    job.move_id = move.id
    job.waiting_for = waiting_for if to is JobState.WAITING else None
    job.available_at = rest.available_at if rest is not None else None
    if to is JobState.QUEUED and job.queued_at is None:
        job.queued_at = now
    session.flush()  # the database wants the state first: it holds the move against it
    session.add(move)
    session.flush()
    emit(session, "job.moved", job, state=to.value, sequence=move.sequence)
    for follow in _followers:
        follow(session, job, move)
    return move


def move_job(session: Session, job: Job, wish: dict[str, Any], *, actor: Actor, now: datetime) -> Job:
    """Make the move that the counter or the bench asks for.

    Raises
    ------
    MoveNotAllowed
        When there is no such move from the job's state, or it is made in another way (by a claim).
    ClaimEnded
        When the move needs the claim and the one named is over.
    FinalReadingsNeeded
        When the job would become ready without final readings and without a reason.
    """
    to: JobState = wish["to"]
    needs = MOVES[job.state].get(to)
    if needs is None:
        raise MoveNotAllowed(
            f"A job that is {job.state} cannot become {to}.", allowed_moves=allowed_moves(job)
        )
    if Needs.NEW_CLAIM in needs:
        raise MoveNotAllowed(
            f"A {job.state} job comes onto a bench by a claim: "
            f"POST /v1/jobs/claims or /v1/jobs/{job.id}/claim.",
            allowed_moves=allowed_moves(job),
        )
    if Needs.GIVE_BACK in needs:
        raise MoveNotAllowed(
            "A job on a bench goes back into the queue when its claim is given back: "
            f"DELETE /v1/jobs/{job.id}/claim/{job.claim_id}.",
            allowed_moves=allowed_moves(job),
        )
    _check_fields(job, wish, needs, now)
    rest = None
    if Needs.AVAILABLE_AT in needs:
        rest = settling.rest(
            session, job, look=wish.get("look"), available_at=wish.get("available_at"), now=now
        )
    if Needs.INSTRUMENT in needs and job.instrument_id is None:
        raise InstrumentNeeded(
            errors=[{"pointer": "/instrument_id", "message": "the job names no instrument yet"}]
        )
    claim = claims.named_claim(session, job, wish.get("claim"), actor=actor) if Needs.CLAIM in needs else None
    if Needs.FINAL_READINGS in needs and not wish.get("reason"):
        for check in _final_checks:
            check(session, job)
    leaves_bench = job.state in CLAIMED and to not in CLAIMED
    job.worked_minutes += wish.get("minutes") or 0
    if claim is not None:
        claim.last_act_at = now
    if leaves_bench:
        held = claim or claims.open_claim(session, job)
        if held is not None:
            claims.release(job, held, to.value, now=now)
    append_move(
        session,
        job,
        to,
        actor=actor,
        now=now,
        reason=wish.get("reason"),
        waiting_for=wish.get("waiting_for"),
        rest=rest,
        claim_id=claim.id if claim is not None else None,
    )
    return job


def end_wait(
    session: Session, job: Job, waited_for: WaitingFor, *, reason: str, actor: Actor, now: datetime
) -> None:
    """Put a job that waits for just this back into the queue; any other job stays as it is."""
    if job.state is JobState.WAITING and job.waiting_for is waited_for:
        append_move(session, job, JobState.QUEUED, actor=actor, now=now, reason=reason)


def _check_fields(job: Job, wish: dict[str, Any], needs: Sequence[Needs], now: datetime) -> None:
    errors: dict[str, str] = {}
    to: JobState = wish["to"]
    reason, available_at, waiting_for = wish.get("reason"), wish.get("available_at"), wish.get("waiting_for")
    if Needs.REASON in needs and not reason:
        errors["/reason"] = f"say why the job becomes {to}"
    if Needs.WAITING_FOR in needs and waiting_for is None:
        errors["/waiting_for"] = "say what it waits for: consent, parts or owner"
    if Needs.WAITING_FOR not in needs and waiting_for is not None:
        errors["/waiting_for"] = "only a move to waiting has this"
    if Needs.AVAILABLE_AT not in needs:
        for name in ("available_at", "look"):
            if wish.get(name) is not None:
                errors[f"/{name}"] = "only a move to settling has this"
    elif available_at is not None and not now < available_at <= now + LONGEST_SETTLE:
        errors["/available_at"] = "must lie ahead, by 31 days at the most; left out, the service proposes it"
    if wish.get("minutes") and job.state not in CLAIMED:
        errors["/minutes"] = "only a move off the bench, or to its final check, reports worked minutes"
    if errors:
        raise InvalidFields.of(errors)


def history(session: Session, job_id: UUID) -> list[JobMove]:
    """Every move of a job, the first first."""
    return list(session.scalars(select(JobMove).where(JobMove.job_id == job_id).order_by(JobMove.sequence)))

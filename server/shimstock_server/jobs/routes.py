"""Jobs over HTTP."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import select

from shimstock_server.database.tables.jobs import Claim, Consent, Job, JobPart, Quote
from shimstock_server.web.blueprint import Answer, Blueprint
from shimstock_server.web.context import current
from shimstock_server.web.etags import must_match
from shimstock_server.web.paging import page
from shimstock_server.web.problems import NotFound
from shimstock_server.web.visibility import exists, visibility

from . import claims, consents, moves, schemas, settling, work
from .problems import (
    AlreadyClaimed,
    BenchNotEquipped,
    ClaimEnded,
    ConsentWithdrawn,
    FinalReadingsNeeded,
    JobOver,
    MoveNotAllowed,
    NotClaimable,
    SkillMissing,
    TooManyClaims,
)

blueprint = Blueprint("jobs", "Work orders: check-in, moves, claims, consents, quotes, parts")
BENCH = ("bench", "manager")

visibility("job_id", exists(Job.id))
visibility("claim_id", exists(Claim.id))
visibility("consent_id", exists(Consent.id))
visibility("quote_id", exists(Quote.id))


def answer(job: Job, **more: Any) -> Answer:
    """A job with its version; what is due and stale changes with the clock."""
    shown = work.show(current.session, job, now=current.now)
    return Answer(shown, version=job.version, by_the_clock=True, **more)


@blueprint.operation(
    "POST", "/jobs", scopes=BENCH, body=schemas.JobIn, answer=schemas.JobOut, status=201,
    writes=True, creates="key",
)  # fmt: skip
def post_job(body: dict[str, Any]) -> Answer:
    """Check an instrument in, or note a booking: open a work order."""
    job = work.check_in(current.session, body, actor=current.actor, now=current.now)
    current.session.flush()
    return answer(job, location=f"/v1/jobs/{job.id}")


@blueprint.operation("GET", "/jobs", scopes=BENCH, query=schemas.JobQuery, answer=schemas.JobPage)
def get_jobs(query: dict[str, Any]) -> Answer:
    """List work orders, the oldest first."""
    jobs = select(Job)
    for name in ("state", "instrument_id", "owner_id", "number"):
        if name in query:
            jobs = jobs.where(getattr(Job, name) == query[name])
    return page(jobs, query, sort=(Job.created_at, Job.id), show=_shown)


@blueprint.operation("GET", "/jobs/<uuid:job_id>", scopes=BENCH, answer=schemas.JobOut)
def get_job(job_id: UUID) -> Answer:
    """Read a work order, with the moves it can make now."""
    return answer(work.load_job(current.session, job_id))


@blueprint.operation(
    "PATCH", "/jobs/<uuid:job_id>", scopes=BENCH, body=schemas.JobPatch, answer=schemas.JobOut,
    writes=True, edits=True, conflicts=(JobOver,),
)  # fmt: skip
def patch_job(job_id: UUID, body: dict[str, Any]) -> Answer:
    """Change what stands on a work order."""
    job = work.load_job(current.session, job_id, for_change=True)
    must_match(job)
    work.change_job(current.session, job, body)
    current.session.flush()
    return answer(job)


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/moves", scopes=BENCH, body=schemas.MoveIn, answer=schemas.JobOut,
    writes=True, creates="key", edits=True, conflicts=(MoveNotAllowed, ClaimEnded, FinalReadingsNeeded),
)  # fmt: skip
def post_move(job_id: UUID, body: dict[str, Any]) -> Answer:
    """Move a job to its next state.

    A move to settling may leave `available_at` and `look` out: the service proposes them.
    """
    job = work.load_job(current.session, job_id, for_change=True)
    must_match(job)
    moves.move_job(current.session, job, body, actor=current.actor, now=current.now)
    current.session.flush()
    return answer(job)


@blueprint.operation("GET", "/jobs/<uuid:job_id>/moves", scopes=BENCH, answer=schemas.MoveList)
def get_moves(job_id: UUID) -> dict[str, Any]:
    """List every move of a job, the first first."""
    return {"items": moves.history(current.session, job_id)}


@blueprint.operation("GET", "/jobs/<uuid:job_id>/looks", scopes=BENCH, answer=schemas.LookList)
def get_looks(job_id: UUID) -> dict[str, Any]:
    """List every look at the settling neck, with what became of it: read, late, skipped."""
    job = work.load_job(current.session, job_id)
    return {"items": settling.looks(current.session, job, now=current.now)}


@blueprint.operation("GET", "/jobs/<uuid:job_id>/claims", scopes=BENCH, answer=schemas.PastClaimList)
def get_claims(job_id: UUID) -> dict[str, Any]:
    """List who held the job, from when to when, and why each claim ended."""
    return {"items": claims.past_claims(current.session, job_id)}


@blueprint.operation(
    "POST", "/jobs/claims", scopes=BENCH, body=schemas.ClaimNextIn, answer=schemas.JobOut, status=200,
    writes=True, creates="key", also={204: None}, conflicts=(TooManyClaims,),
)  # fmt: skip
def post_claim_next(body: dict[str, Any]) -> Answer:  # noqa: ARG001 - the body holds no wishes yet
    """Take the next job that suits this bench and technician; 204 when there is none.

    Offered first: a settling job that is due (one that this technician worked on before others, the first
    due first); then queued jobs promised for today or earlier (the earliest day first, then priority, then
    time in the queue); then all other queued jobs by priority (9 first), promised day and time in the queue.
    Jobs that need a skill which the technician lacks, or for which the bench is not equipped, are left out.
    """
    job = claims.claim_next(current.session, actor=current.actor, now=current.now)
    if job is None:
        return Answer(None, status=204, keep=False)
    current.session.flush()
    return answer(job)


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/claim", scopes=BENCH, body=schemas.ClaimIn, answer=schemas.JobOut,
    status=200, writes=True, creates="key",
    conflicts=(AlreadyClaimed, NotClaimable, SkillMissing, BenchNotEquipped, TooManyClaims),
)  # fmt: skip
def post_claim(job_id: UUID, body: dict[str, Any]) -> Answer:
    """Take a named job; a claim whose last act lies before the shop last opened can be taken over."""
    job = work.load_job(current.session, job_id, for_change=True)
    claims.claim_named(
        current.session, job, take_over=body["take_over"], reason=body["reason"],
        actor=current.actor, now=current.now,
    )  # fmt: skip
    current.session.flush()
    return answer(job)


@blueprint.operation(
    "DELETE", "/jobs/<uuid:job_id>/claim/<uuid:claim_id>", scopes=BENCH, answer=schemas.JobOut, status=200,
    writes=True, conflicts=(ClaimEnded,),
)  # fmt: skip
def delete_claim(job_id: UUID, claim_id: UUID) -> Answer:
    """Give a job back: the claim ends and the job waits in the queue again."""
    job = work.load_job(current.session, job_id, for_change=True)
    claim = _claim_of_job(job_id, claim_id)
    held = claims.named_claim(current.session, job, claim.id, actor=current.actor)
    if held is not None:
        claims.give_back(current.session, job, held, actor=current.actor, now=current.now)
    current.session.flush()
    return answer(job)


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/handover", scopes=BENCH, body=schemas.HandoverIn, answer=schemas.JobOut,
    status=200, writes=True, creates="key",
    conflicts=(ClaimEnded, SkillMissing, BenchNotEquipped, TooManyClaims),
)  # fmt: skip
def post_handover(job_id: UUID, body: dict[str, Any]) -> Answer:
    """Pass a job on to another technician."""
    job = work.load_job(current.session, job_id, for_change=True)
    claim = claims.named_claim(current.session, job, body["claim"], actor=current.actor)
    if claim is not None:
        claims.hand_over(
            current.session, job, claim, technician_id=body["technician_id"], bench_id=body["bench_id"],
            note=body["note"], now=current.now,
        )  # fmt: skip
    current.session.flush()
    return answer(job)


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/setup-spec/renewal", scopes=("manager",), body=schemas.SpecRenewalIn,
    answer=schemas.JobOut, status=200, writes=True, creates="key", conflicts=(JobOver,),
)  # fmt: skip
def post_spec_renewal(job_id: UUID, body: dict[str, Any]) -> Answer:
    """Let the job follow today's setup specs instead of those it began with."""
    job = work.load_job(current.session, job_id, for_change=True)
    work.renew_spec(current.session, job, reason=body["reason"])
    current.session.flush()
    return answer(job)


@blueprint.operation("GET", "/jobs/<uuid:job_id>/consents", scopes=BENCH, answer=schemas.ConsentList)
def get_consents(job_id: UUID) -> dict[str, Any]:
    """List what the owner said about steps that cannot be undone."""
    return {"items": consents.consents_of(current.session, job_id)}


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/consents", scopes=BENCH, body=schemas.ConsentIn, answer=schemas.ConsentOut,
    status=201, writes=True, creates="key",
)  # fmt: skip
def post_consent(job_id: UUID, body: dict[str, Any]) -> Consent:
    """Keep the owner's yes or no; a no is a valid end and stands on the card.

    A yes puts a job that waits for consent back into the queue.
    """
    job = work.load_job(current.session, job_id, for_change=True)
    return consents.add_consent(current.session, job, body, actor=current.actor, now=current.now)


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/consents/<uuid:consent_id>/withdrawal", scopes=BENCH,
    body=schemas.WithdrawalIn, answer=schemas.ConsentOut, status=200, writes=True, creates="key",
    conflicts=(ConsentWithdrawn,),
)  # fmt: skip
def post_withdrawal(job_id: UUID, consent_id: UUID, body: dict[str, Any]) -> Consent:
    """Take a consent back; what was done under it stays done."""
    job = work.load_job(current.session, job_id, for_change=True)
    consent = current.session.get_one(Consent, consent_id)
    if consent.job_id != job_id:
        raise NotFound
    return consents.withdraw(current.session, job, consent, reason=body["reason"], now=current.now)


@blueprint.operation("GET", "/jobs/<uuid:job_id>/quotes", scopes=BENCH, answer=schemas.QuoteList)
def get_quotes(job_id: UUID) -> dict[str, Any]:
    """List the quotes of a job."""
    quotes = select(Quote).where(Quote.job_id == job_id).order_by(Quote.created_at, Quote.id)
    return {"items": list(current.session.scalars(quotes))}


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/quotes", scopes=BENCH, body=schemas.QuoteIn, answer=schemas.QuoteOut,
    status=201, writes=True, creates="key",
)  # fmt: skip
def post_quote(job_id: UUID, body: dict[str, Any]) -> Quote:
    """Quote work that a setup does not cover."""
    return work.add_quote(current.session, work.load_job(current.session, job_id, for_change=True), body)


@blueprint.operation(
    "PATCH", "/jobs/<uuid:job_id>/quotes/<uuid:quote_id>", scopes=BENCH, body=schemas.QuotePatch,
    answer=schemas.QuoteOut, writes=True, edits=True, conflicts=(work.QuoteAnswered,),
)  # fmt: skip
def patch_quote(job_id: UUID, quote_id: UUID, body: dict[str, Any]) -> Quote:
    """Keep the owner's answer to a quote.

    A yes to the last open quote puts a job that waits for its owner back into the queue.
    """
    job = work.load_job(current.session, job_id, for_change=True)
    quote = current.session.get_one(Quote, quote_id)
    if quote.job_id != job_id:
        raise NotFound
    must_match(quote)
    answered = work.answer_quote(current.session, job, quote, body, actor=current.actor, now=current.now)
    current.session.flush()
    return answered


@blueprint.operation("GET", "/jobs/<uuid:job_id>/parts", scopes=BENCH, answer=schemas.JobPartList)
def get_parts(job_id: UUID) -> dict[str, Any]:
    """List the parts used on a job."""
    parts = select(JobPart).where(JobPart.job_id == job_id).order_by(JobPart.created_at, JobPart.id)
    return {"items": list(current.session.scalars(parts))}


@blueprint.operation(
    "POST", "/jobs/<uuid:job_id>/parts", scopes=BENCH, body=schemas.JobPartIn, answer=schemas.JobPartOut,
    status=201, writes=True, creates="key",
)  # fmt: skip
def post_part(job_id: UUID, body: dict[str, Any]) -> JobPart:
    """Note a part that was used."""
    return work.add_part(current.session, work.load_job(current.session, job_id), body)


def _shown(job: Job) -> dict[str, Any]:
    return work.show(current.session, job, now=current.now)


def _claim_of_job(job_id: UUID, claim_id: UUID) -> Claim:
    claim = current.session.get_one(Claim, claim_id)
    if claim.job_id != job_id:
        raise NotFound
    return claim

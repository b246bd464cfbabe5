"""Checking a job in, changing it, showing it."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.catalogue import current_spec_ids, refuse_misfits
from shimstock_server.database.history import emit, record
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.bench import ReadingSheet
from shimstock_server.database.tables.catalogue import StringSet, Tuning
from shimstock_server.database.tables.jobs import Job, JobNumber, JobPart, JobSkill, Quote
from shimstock_server.database.tables.owners import Instrument, Owner
from shimstock_server.database.words import OVER, JobState, WaitingFor
from shimstock_server.shop import settings
from shimstock_server.web.context import Actor
from shimstock_server.web.problems import Conflict, InvalidFields
from shimstock_server.web.quantities import Quantity

from . import claims, consents, moves, settling
from .problems import InstrumentNeeded, JobOver

NO_PROMISE = date(9999, 12, 31)


class QuoteAnswered(Conflict):
    """This quote was answered already; make a new one."""

    code = "quote-answered"
    title = "Quote answered"


def load_job(session: Session, job_id: UUID, *, for_change: bool = False) -> Job:
    """Load a job that is known to exist; for a change its row is locked, where the database can."""
    query = select(Job).where(Job.id == job_id)
    if for_change:
        query = query.with_for_update(of=Job, key_share=True)
    return session.scalars(query).one()


def check_in(session: Session, wish: dict[str, Any], *, actor: Actor, now: datetime) -> Job:
    """Open a work order, received over the counter or booked."""
    state = JobState(wish["state"])
    instrument, owner_id = _instrument_and_owner(session, wish)
    if state is JobState.RECEIVED and instrument is None:
        raise InstrumentNeeded(
            errors=[{"pointer": "/instrument_id", "message": "a received job names its instrument"}]
        )
    _check_references(session, wish)
    if instrument is not None:
        refuse_misfits(session, instrument, wish["wants"], "/wants")
    move_id = new_id()
    job = Job(
        number=next_number(session),
        move_id=move_id,
        instrument_id=instrument.id if instrument is not None else None,
        owner_id=owner_id,
        follows_id=wish["follows_id"],
        state=state,
        priority=wish["priority"],
        promised_on=wish["promised_on"] or NO_PROMISE,
        complaints=wish["complaints"],
        condition=wish["condition"],
        wants=stored_wants(wish["wants"]),
        room=stored_room(wish["room"]),
        services=wish["services"],
        estimated_minutes=wish["estimated_minutes"],
        spec_ids=_spec_ids(session, instrument),
        skills=[JobSkill(skill=skill) for skill in wish["skills"]],
    )
    session.add(job)
    session.flush()
    moves.append_move(session, job, state, actor=actor, now=now, move_id=move_id)
    for consent in wish["consents"]:
        consents.add_consent(session, job, consent, actor=actor, now=now)
    return job


def change_job(session: Session, job: Job, wish: dict[str, Any]) -> Job:
    """Change what stands on a work order."""
    if job.state in OVER:
        raise JobOver
    if "instrument_id" in wish and wish["instrument_id"] != job.instrument_id:
        _change_instrument(session, job, wish)
    if "owner_id" in wish:
        _instrument_and_owner(session, {"instrument_id": None, "owner_id": wish["owner_id"]})
        job.owner_id = wish["owner_id"]
    _check_references(session, wish)
    for name in ("priority", "complaints", "condition", "services", "estimated_minutes"):
        if name in wish:
            setattr(job, name, wish[name])
    if "promised_on" in wish:
        job.promised_on = wish["promised_on"] or NO_PROMISE
    if "wants" in wish:
        if job.instrument_id is not None:
            refuse_misfits(session, session.get_one(Instrument, job.instrument_id), wish["wants"], "/wants")
        job.wants = stored_wants(wish["wants"])
    if "room" in wish:
        job.room = stored_room(wish["room"])
    if "skills" in wish:
        kept = {needed.skill: needed for needed in job.skills}
        job.skills = [kept.get(skill) or JobSkill(skill=skill) for skill in wish["skills"]]
    return job


def _change_instrument(session: Session, job: Job, wish: dict[str, Any]) -> None:
    if job.state is not JobState.BOOKED:
        raise InvalidFields.at(
            "/instrument_id", f"stays as it is once the job is {job.state}; open a new job instead"
        )
    if session.scalar(select(ReadingSheet.id).where(ReadingSheet.job_id == job.id).limit(1)) is not None:
        raise InvalidFields.at(
            "/instrument_id", "readings of this instrument were taken on this job; open a new job instead"
        )
    instrument, _ = _instrument_and_owner(session, {**wish, "owner_id": None})
    job.instrument_id = wish["instrument_id"]
    job.spec_ids = _spec_ids(session, instrument)
    if job.owner_id is None and instrument is not None:
        job.owner_id = instrument.owner_id


def renew_spec(session: Session, job: Job, *, reason: str) -> Job:
    """Let the job follow today's setup specs instead of those it began with; the trail says why."""
    if job.state in OVER:
        raise JobOver
    instrument = session.get(Instrument, job.instrument_id) if job.instrument_id is not None else None
    job.spec_ids = _spec_ids(session, instrument)
    session.flush()
    record(session, "jobs", job.id, "changed", version=job.version, after={"reason": reason})
    emit(session, "job.spec-renewed", job)
    return job


def show(session: Session, job: Job, *, now: datetime) -> dict[str, Any]:
    """A job as it is answered."""
    claim = claims.open_claim(session, job)
    names = (
        "id", "number", "version", "state", "waiting_for", "available_at", "last_technician_id",
        "instrument_id", "owner_id", "follows_id", "priority", "queued_at", "complaints", "condition",
        "services", "estimated_minutes", "worked_minutes", "created_at", "updated_at",
    )  # fmt: skip
    shown: dict[str, Any] = {name: getattr(job, name) for name in names}
    return shown | {
        "promised_on": None if job.promised_on == NO_PROMISE else job.promised_on,
        "due": job.state is JobState.SETTLING and job.available_at is not None and job.available_at <= now,
        "allowed_moves": moves.allowed_moves(job),
        "claim": claims.describe(session, claim, now=now) if claim is not None else None,
        "wants": job.wants,
        "room": job.room,
        "skills": sorted(needed.skill for needed in job.skills),
        **settling.asked_now(session, job, now=now),
    }


def stored_wants(wants: dict[str, Any]) -> dict[str, Any]:
    """What the player wants, as it is kept."""
    return {
        name: str(value) if isinstance(value, UUID) else value
        for name, value in {
            "restring": wants.get("restring", False),
            "string_set_id": wants.get("string_set_id"),
            "tuning_id": wants.get("tuning_id"),
            "playing_style": wants.get("playing_style"),
            "note": wants.get("note"),
        }.items()
    }


def stored_room(room: dict[str, Quantity] | None) -> dict[str, Any] | None:
    """The room's air in degC and % RH, and as typed."""
    if room is None:
        return None
    temperature, humidity = room["temperature"], room["relative_humidity"]
    return {
        "temperature": temperature.value,
        "relative_humidity": humidity.value,
        "typed": {
            "temperature_value": temperature.typed_value,
            "temperature_unit": str(temperature.typed_unit),
            "relative_humidity_value": humidity.typed_value,
            "relative_humidity_unit": str(humidity.typed_unit),
        },
    }


def add_quote(session: Session, job: Job, wish: dict[str, Any]) -> Quote:
    """Note work that a setup does not cover, with its price in the shop's currency or the one named."""
    quote = Quote(
        job_id=job.id,
        work=wish["work"],
        amount=wish["amount"],
        currency=wish["currency"] or settings(session).currency,
    )
    session.add(quote)
    session.flush()
    emit(session, "job.quoted", job, quote=quote.id)
    return quote


def answer_quote(
    session: Session, job: Job, quote: Quote, wish: dict[str, Any], *, actor: Actor, now: datetime
) -> Quote:
    """Keep the owner's answer to a quote; it is given once.

    A yes puts a job that waits for its owner back into the queue, once no other quote is open. After a no a
    person decides: go on without that work, or return the instrument.
    """
    if quote.answered_at is not None:
        raise QuoteAnswered
    quote.approved = wish["approved"]
    quote.answered_how = wish["answered_how"]
    quote.answered_at = now
    session.flush()
    emit(session, "job.quote-answered", job, quote=quote.id, approved=quote.approved)
    if quote.approved and not _open_quotes(session, job.id):
        moves.end_wait(session, job, WaitingFor.OWNER, reason="the quote was approved", actor=actor, now=now)
    return quote


def _open_quotes(session: Session, job_id: UUID) -> bool:
    unanswered = select(Quote.id).where(Quote.job_id == job_id, Quote.answered_at.is_(None)).limit(1)
    return session.scalars(unanswered).first() is not None


def add_part(session: Session, job: Job, wish: dict[str, Any]) -> JobPart:
    """Note a part that was used."""
    _check_references(session, {"string_set": wish["string_set_id"]})
    part = JobPart(job_id=job.id, **wish)
    session.add(part)
    session.flush()
    emit(session, "job.part-used", job, part=part.id)
    return part


def _instrument_and_owner(session: Session, wish: dict[str, Any]) -> tuple[Instrument | None, UUID | None]:
    errors: dict[str, str] = {}
    instrument = None
    if wish.get("instrument_id") is not None:
        instrument = session.get(Instrument, wish["instrument_id"])
        if instrument is None:
            errors["/instrument_id"] = "no instrument has this id"
    owner_id = wish.get("owner_id")
    if owner_id is not None and session.get(Owner, owner_id) is None:
        errors["/owner_id"] = "no owner has this id"
    if errors:
        raise InvalidFields.of(errors)
    if owner_id is None and instrument is not None:
        owner_id = instrument.owner_id
    return instrument, owner_id


def _check_references(session: Session, wish: dict[str, Any]) -> None:
    errors: dict[str, str] = {}
    wants = wish.get("wants") or {}
    if wants.get("string_set_id") and session.get(StringSet, wants["string_set_id"]) is None:
        errors["/wants/string_set_id"] = "no string set has this id"
    if wants.get("tuning_id") and session.get(Tuning, wants["tuning_id"]) is None:
        errors["/wants/tuning_id"] = "no tuning has this id"
    if wish.get("string_set") and session.get(StringSet, wish["string_set"]) is None:
        errors["/string_set_id"] = "no string set has this id"
    if wish.get("follows_id") and session.get(Job, wish["follows_id"]) is None:
        errors["/follows_id"] = "no job has this id"
    if errors:
        raise InvalidFields.of(errors)


def next_number(session: Session, count: int = 1) -> int:
    """Return the first of the next tickets' numbers; so many are taken."""
    counter = session.get_one(JobNumber, 1, with_for_update=True)
    counter.last += count
    return counter.last - count + 1


def _spec_ids(session: Session, instrument: Instrument | None) -> list[str]:
    if instrument is None:
        return []
    ids = current_spec_ids(
        session, kind=instrument.model.kind, model_id=instrument.model_id, instrument_id=instrument.id
    )
    return [str(spec_id) for spec_id in ids]

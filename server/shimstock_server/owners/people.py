"""Owners: adding, changing, finding, and erasing what is personal."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Select, or_, select
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument, Owner
from shimstock_server.database.words import OVER
from shimstock_server.web import idempotency

from .problems import JobOpen, OwnerErased

FIELDS = ("name", "email", "phone", "note", "units", "language")

Forget = Callable[[Session, UUID], None]
"""Takes out what an area keeps in an owner's words: `forget(session, owner_id)`."""

_forgetters: list[Forget] = []


def on_erasure(forget: Forget) -> Forget:
    """Register what an area does when an owner is erased, in the same transaction.

    Parameters
    ----------
    forget : callable
        ``forget(session, owner_id)``; it leaves readings and adjustments as they are.
    """
    if forget not in _forgetters:
        _forgetters.append(forget)
    return forget


def add_owner(session: Session, body: Mapping[str, Any]) -> Owner:
    """Add an owner."""
    row = Owner(**{field: body[field] for field in FIELDS}, search_name=searchable(body["name"]))
    session.add(row)
    session.flush()
    emit(session, "owner.created", row)
    return row


def change_owner(session: Session, row: Owner, body: Mapping[str, Any]) -> Owner:
    """Change an owner."""
    if row.erased_at is not None:
        raise OwnerErased()
    for field in FIELDS:
        if field in body:
            setattr(row, field, body[field])
    row.search_name = searchable(row.name)
    session.flush()
    emit(session, "owner.changed", row)
    return row


def searchable(name: str | None) -> str:
    """Return a name as it is searched: small letters without accents, a blank before each word.

    >>> searchable("Zoë  Ångström-Müller")
    ' zoe angstrom muller'
    """
    if name is None:
        return ""
    plain = "".join(
        character
        for character in unicodedata.normalize("NFKD", name.casefold())
        if not unicodedata.combining(character)
    )
    words = "".join(character if character.isalnum() else " " for character in plain).split()
    return "".join(f" {word}" for word in words)


def named_like(name: str) -> Select[Any]:
    """Select the owners with a word of their name beginning so."""
    wanted = searchable(name)
    if not wanted:
        return select(Owner).where(or_(False))
    return select(Owner).where(Owner.search_name.contains(wanted, autoescape=True))


def erase(session: Session, row: Owner, *, now: datetime, force: bool = False) -> Owner:
    """Take the person out of the records; instruments, jobs and readings stay without the name.

    Parameters
    ----------
    row : Owner
        Whom to erase; erasing again changes nothing.
    now : datetime
        The instant that is noted.
    force : bool
        Whether to go on although a job is open.

    Raises
    ------
    JobOpen
        When a job of this owner is not over, unless forced.
    """
    if row.erased_at is not None:
        return row
    if not force:
        _refuse_open_jobs(session, row)
    personal = ("name", "email", "phone", "note")
    for field in personal:
        setattr(row, field, None)
    told: dict[UUID, dict[str, Any]] = {row.id: dict.fromkeys(personal)}
    row.search_name = ""
    row.erased_at = now
    for instrument in session.scalars(select(Instrument).where(Instrument.owner_id == row.id)):
        instrument.nickname = None
        if instrument.home is not None:
            instrument.home = {**instrument.home, "place": None, "note": None}
        told[instrument.id] = {"nickname": None, "home": {"place": None, "note": None}}
    idempotency.take_out(session, told)
    for forget in _forgetters:
        forget(session, row.id)
    session.flush()
    emit(session, "owner.erased", row)
    return row


def jobs_of(owner_id: UUID) -> Select[Any]:
    """Select the jobs whose words are an owner's: those that name the owner, and those that name nobody, of
    the owner's instruments."""
    instruments = select(Instrument.id).where(Instrument.owner_id == owner_id)
    return select(Job.id).where(
        or_(Job.owner_id == owner_id, Job.owner_id.is_(None) & Job.instrument_id.in_(instruments))
    )


def _refuse_open_jobs(session: Session, row: Owner) -> None:
    instruments = select(Instrument.id).where(Instrument.owner_id == row.id)
    open_jobs = session.scalars(
        select(Job.number)
        .where(
            or_(Job.owner_id == row.id, Job.instrument_id.in_(instruments)),
            Job.state.not_in(OVER),
        )
        .order_by(Job.number)
        .limit(10)
    ).all()
    if open_jobs:
        numbers = ", ".join(str(number) for number in open_jobs)
        raise JobOpen(f"Not over yet: job {numbers}.", jobs=list(open_jobs))


@dataclass(frozen=True)
class Erasure:
    """An owner who was erased, and when: what a restore of an older backup has to do again."""

    owner_id: UUID
    at: datetime


def erasures(session: Session) -> list[Erasure]:
    """List every owner who was erased."""
    rows = session.execute(
        select(Owner.id, Owner.erased_at)
        .where(Owner.erased_at.is_not(None))
        .order_by(Owner.erased_at, Owner.id)
    )
    return [Erasure(identifier, at) for identifier, at in rows if at is not None]


def erase_again(session: Session, done: list[Erasure]) -> int:
    """Erase once more who was erased before an older backup was put back; return how many it brought back.

    Parameters
    ----------
    done : list of Erasure
        From `erasures`, read before the restore.
    """
    brought_back = 0
    for erasure in done:
        row = session.get(Owner, erasure.owner_id)
        if row is not None and row.erased_at is None:
            erase(session, row, now=erasure.at, force=True)
            brought_back += 1
    return brought_back

"""Jobs and everything that moves them: moves, claims, consents, quotes, parts."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, ForeignKeyConstraint, Index, String, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from ..words import ConsentKind, JobState, SettleLook, Skill, WaitingFor
from .base import Base, Identified, Json, Versioned, check, words

# IS TRUE keeps the indexes on `state` out of the planners' sight: SQLite would take one, and sort.
QUEUED = "(state = 'queued') IS TRUE"
SETTLING = "(state = 'settling') IS TRUE"


class Job(Versioned, Base):
    """A work order for one instrument."""

    __tablename__ = "jobs"
    __table_args__ = (
        check("(state = 'waiting') = (waiting_for IS NOT NULL)", "waiting_for_something"),
        check("state <> 'settling' OR available_at IS NOT NULL", "settling_until"),
        check("(state IN ('on-bench', 'final-check')) = (claim_id IS NOT NULL)", "worked_on_under_a_claim"),
        check("state IN ('booked', 'cancelled') OR instrument_id IS NOT NULL", "received_with_instrument"),
        check("priority BETWEEN 0 AND 9", "priority"),
        # Partial, and so no key to PostgreSQL: a move locks nobody out who only refers to the job.
        Index("uq_jobs_move_id", "move_id", unique=True,
              sqlite_where=text("move_id IS NOT NULL"), postgresql_where=text("move_id IS NOT NULL")),
        Index("ix_jobs_state", "state", "created_at", "id"),
        Index("ix_jobs_created_at", "created_at", "id"),
        Index("ix_jobs_instrument_id", "instrument_id"),
        Index("ix_jobs_owner_id", "owner_id"),
    )  # fmt: skip

    number: Mapped[int] = mapped_column(unique=True)
    """The number on the ticket: 1, 2, 3 … in this shop."""
    instrument_id: Mapped[UUID | None] = mapped_column(ForeignKey("instruments.id"))
    owner_id: Mapped[UUID | None] = mapped_column(ForeignKey("owners.id"))
    follows_id: Mapped[UUID | None] = mapped_column(ForeignKey("jobs.id"))
    """The job that this one is the recheck of."""
    state: Mapped[JobState] = mapped_column(words(JobState, "state"))
    move_id: Mapped[UUID | None] = mapped_column(
        ForeignKey(
            "job_moves.id", name="fk_jobs_move_id", deferrable=True, initially="DEFERRED", use_alter=True
        )
    )
    """The move that brought the state: changes with it, and must be written by the end of the transaction.
    Triggers (migration 0002) refuse a state without its move and a move that skips a state."""
    waiting_for: Mapped[WaitingFor | None] = mapped_column(words(WaitingFor, "waiting_for"))
    available_at: Mapped[datetime | None]
    priority: Mapped[int] = mapped_column(default=5)
    promised_on: Mapped[date] = mapped_column(default=date(9999, 12, 31))
    """The promised day; 9999-12-31 stands for none, so that order by day needs no null."""
    queued_at: Mapped[datetime | None]
    claim_id: Mapped[UUID | None]
    """The claim that holds this job; no foreign key, since a claim row also points here."""
    last_technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))
    complaints: Mapped[str | None] = mapped_column(String(4000), info={"personal": True})
    condition: Mapped[str | None] = mapped_column(String(4000))
    wants: Mapped[dict[str, Any]] = mapped_column(Json, default=dict, info={"personal": True})
    """What the player wants: tuning, strings, playing style, in our words; quantities in mm."""
    room: Mapped[dict[str, Any] | None] = mapped_column(Json)
    """The room's air at check-in [degC, % RH], and as typed."""
    services: Mapped[list[Any]] = mapped_column(Json, default=list)
    estimated_minutes: Mapped[int | None]
    worked_minutes: Mapped[int] = mapped_column(default=0)
    spec_ids: Mapped[list[Any]] = mapped_column(Json, default=list)
    """The setup spec versions this job began with, general to specific."""

    skills: Mapped[list[JobSkill]] = relationship(cascade="all, delete-orphan", lazy="selectin")


# One index for each rank of the queue (`jobs/offer.py`), with its WHERE and its ORDER BY: nothing is sorted.
Index("ix_jobs_queued", Job.priority.desc(), Job.promised_on, Job.queued_at, Job.id,
      sqlite_where=text(QUEUED), postgresql_where=text(QUEUED))  # fmt: skip
Index("ix_jobs_queued_promised", Job.promised_on, Job.priority.desc(), Job.queued_at, Job.id,
      sqlite_where=text(QUEUED), postgresql_where=text(QUEUED))  # fmt: skip
Index("ix_jobs_settling", Job.available_at, Job.id,
      sqlite_where=text(SETTLING), postgresql_where=text(SETTLING))  # fmt: skip


class JobNumber(Base):
    """The counter behind ticket numbers: one row."""

    __tablename__ = "job_numbers"
    __table_args__ = (check("id = 1", "one_row"), {"info": {"audited": False}})

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    last: Mapped[int]


class JobSkill(Base):
    """A skill that this job needs."""

    __tablename__ = "job_skills"

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"), primary_key=True)
    skill: Mapped[Skill] = mapped_column(words(Skill, "skill"), primary_key=True)


class AllowedMove(Base):
    """The moves there are: the database refuses a move row that is not in this table."""

    __tablename__ = "allowed_moves"
    __table_args__ = ({"info": {"audited": False}},)

    from_state: Mapped[JobState] = mapped_column(words(JobState, "from_state"), primary_key=True)
    to_state: Mapped[JobState] = mapped_column(words(JobState, "to_state"), primary_key=True)


class JobMove(Identified, Base):
    """One move of a job from a state to the next; appended, never changed."""

    __tablename__ = "job_moves"
    __table_args__ = (
        UniqueConstraint("job_id", "sequence"),
        ForeignKeyConstraint(
            ["from_state", "to_state"], ["allowed_moves.from_state", "allowed_moves.to_state"]
        ),
        check("from_state IS NOT NULL OR sequence = 1", "first_has_no_before"),
    )

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))
    sequence: Mapped[int]
    from_state: Mapped[JobState | None] = mapped_column(words(JobState, "from_state"))
    to_state: Mapped[JobState] = mapped_column(words(JobState, "to_state"))
    waiting_for: Mapped[WaitingFor | None] = mapped_column(words(WaitingFor, "waiting_for"))
    available_at: Mapped[datetime | None]
    look: Mapped[SettleLook | None] = mapped_column(words(SettleLook, "look"))
    """Which look at the neck a rest is followed by; only on moves to settling."""
    readings_asked: Mapped[list[Any] | None] = mapped_column(Json)
    """The quantities that this look is for; only on moves to settling."""
    reason: Mapped[str | None] = mapped_column(String(1000))
    claim_id: Mapped[UUID | None] = mapped_column(ForeignKey("claims.id"))
    key_id: Mapped[UUID | None] = mapped_column(ForeignKey("api_keys.id"))
    technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))


class Claim(Identified, Base):
    """A technician at a bench holds a job. The partial unique index lets nobody else hold it."""

    __tablename__ = "claims"
    __table_args__ = (
        Index("uq_claims_open", "job_id", unique=True,
              sqlite_where=text("ended_at IS NULL"), postgresql_where=text("ended_at IS NULL")),
        Index("ix_claims_open_by_technician", "technician_id",
              sqlite_where=text("ended_at IS NULL"), postgresql_where=text("ended_at IS NULL")),
        check("(ended_at IS NULL) = (end_reason IS NULL)", "ends_with_a_reason"),
    )  # fmt: skip

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))
    technician_id: Mapped[UUID] = mapped_column(ForeignKey("technicians.id"))
    bench_id: Mapped[UUID | None] = mapped_column(ForeignKey("benches.id"))
    last_act_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    end_reason: Mapped[str | None] = mapped_column(String(40))
    """given-back, handed-over, taken-over, settling, waiting, ready, returned-unrepaired."""
    note: Mapped[str | None] = mapped_column(String(1000))


class Consent(Identified, Base):
    """The owner's yes or no to what cannot be undone."""

    __tablename__ = "consents"
    __table_args__ = (Index("ix_consents_job_id", "job_id"),)

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))
    covers: Mapped[ConsentKind] = mapped_column(words(ConsentKind, "covers"))
    given: Mapped[bool]
    """False: the owner said no, which is a valid end and stands on the card."""
    given_by: Mapped[str] = mapped_column(String(200), info={"personal": True})
    how: Mapped[str] = mapped_column(String(40))
    note: Mapped[str | None] = mapped_column(String(1000), info={"personal": True})
    given_at: Mapped[datetime]
    withdrawn_at: Mapped[datetime | None]
    withdrawn_reason: Mapped[str | None] = mapped_column(String(1000), info={"personal": True})


class Quote(Versioned, Base):
    """What a setup cannot cure, with a price, and the owner's answer."""

    __tablename__ = "quotes"
    __table_args__ = (
        Index("ix_quotes_job_id", "job_id"),
        check("amount >= 0", "amount"),
        check("(answered_at IS NULL) = (approved IS NULL)", "answered_whole"),
    )

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))
    work: Mapped[str] = mapped_column(String(2000))
    amount: Mapped[float]
    currency: Mapped[str] = mapped_column(String(3))
    approved: Mapped[bool | None]
    answered_at: Mapped[datetime | None]
    answered_how: Mapped[str | None] = mapped_column(String(40))


class JobPart(Identified, Base):
    """A part used on a job."""

    __tablename__ = "job_parts"
    __table_args__ = (Index("ix_job_parts_job_id", "job_id"), check("quantity > 0", "quantity"))

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))
    name: Mapped[str] = mapped_column(String(200))
    quantity: Mapped[float] = mapped_column(default=1.0)
    price: Mapped[float | None]
    string_set_id: Mapped[UUID | None] = mapped_column(ForeignKey("string_sets.id"))

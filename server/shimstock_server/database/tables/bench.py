"""What is measured and done at the bench: reading sheets, readings, adjustments, plans as shown."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any, TypeVar
from uuid import UUID

from sqlalchemy import ColumnElement, ForeignKey, Index, String, select, text
from sqlalchemy.orm import Mapped, aliased, mapped_column, relationship

from ..words import Method, Part, Position, Quantity, Side, Stage
from .base import Base, Json, check, words

MOST_AHEAD = timedelta(hours=48)
"""As far as the time of a bench or a logger may lie ahead of the service's clock, confirmed or not."""


def counts_at(said: datetime, received_at: datetime) -> datetime:
    """Return when something counts as read or done.

    A time far ahead was taken once; it would be the newest for ever, so what has one counts from when it was
    received: later than that it was not.
    """
    return received_at if said > received_at + MOST_AHEAD else said


class ReadingSheet(Base):
    """Readings taken at one bench, by one technician, at one time, in one condition; never edited."""

    __tablename__ = "reading_sheets"
    __table_args__ = (
        Index("ix_reading_sheets_job", "job_id", "taken_at", "id"),
        Index("uq_reading_sheets_supersedes", "supersedes_id", unique=True,
              sqlite_where=text("supersedes_id IS NOT NULL"),
              postgresql_where=text("supersedes_id IS NOT NULL")),
        check("(supersedes_id IS NULL) = (supersedes_reason IS NULL)", "a_correction_says_why"),
    )  # fmt: skip

    id: Mapped[UUID] = mapped_column(primary_key=True)
    """Made by the client: a bench may be offline for a week."""
    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))
    fingerprint: Mapped[str] = mapped_column(String(64))
    stage: Mapped[Stage] = mapped_column(words(Stage, "stage"))
    taken_at: Mapped[datetime]
    received_at: Mapped[datetime]
    bench_id: Mapped[UUID | None] = mapped_column(ForeignKey("benches.id"))
    technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))
    key_id: Mapped[UUID] = mapped_column(ForeignKey("api_keys.id"))
    outside_claim: Mapped[bool]
    clock_ahead_confirmed: Mapped[bool] = mapped_column(default=False)
    position: Mapped[Position] = mapped_column(words(Position, "position"))
    at_pitch: Mapped[bool]
    """All strings within 5 cents of their pitch; otherwise the sheet is kept and no plan is built on it."""
    acclimatised: Mapped[bool]
    room_temperature: Mapped[float | None]
    room_humidity: Mapped[float | None]
    room_typed: Mapped[dict[str, Any] | None] = mapped_column(Json)
    string_set_id: Mapped[UUID | None] = mapped_column(ForeignKey("string_sets.id"))
    findings: Mapped[list[Any]] = mapped_column(Json, default=list)
    """What the look over found: code, fret, string, note."""
    looked_over: Mapped[bool] = mapped_column(default=False)
    """The instrument was looked over, whether or not anything was found."""
    note: Mapped[str | None] = mapped_column(String(4000))
    supersedes_id: Mapped[UUID | None] = mapped_column(ForeignKey("reading_sheets.id"))
    supersedes_reason: Mapped[str | None] = mapped_column(String(1000))

    readings: Mapped[list[Reading]] = relationship(
        lazy="selectin", order_by="Reading.number", cascade="all, delete-orphan"
    )

    @property
    def counts_at(self) -> datetime:
        """When it counts as taken."""
        return counts_at(self.taken_at, self.received_at)


class Reading(Base):
    """One reading, as typed and in mm, cents or % RH."""

    __tablename__ = "readings"
    __table_args__ = (
        check("side IS NULL OR string IS NULL", "side_or_string"),
        Index("ix_readings_quantity", "quantity", "sheet_id"),
    )

    sheet_id: Mapped[UUID] = mapped_column(ForeignKey("reading_sheets.id"), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)
    """Its place on the sheet, from 0: the same number as in the JSON that brought it."""
    quantity: Mapped[Quantity] = mapped_column(words(Quantity, "quantity"))
    side: Mapped[Side | None] = mapped_column(words(Side, "side"))
    string: Mapped[int | None]
    pickup: Mapped[str | None] = mapped_column(String(100))
    fret: Mapped[int | None]
    hold_low: Mapped[int | None]
    hold_high: Mapped[int | None]
    capo: Mapped[int | None]
    method: Mapped[Method | None] = mapped_column(words(Method, "method"))
    value: Mapped[float]
    typed_value: Mapped[float]
    typed_unit: Mapped[str] = mapped_column(String(10))
    zero_or_less: Mapped[bool] = mapped_column(default=False)
    tool_id: Mapped[UUID | None] = mapped_column(ForeignKey("tools.id"))
    tool_name: Mapped[str | None] = mapped_column(String(200))
    resolution: Mapped[float | None]
    """The tool's, when the reading was taken: a later change of the tool does not change the past."""
    repeatability: Mapped[float | None]
    """The bench's own where a study found it, else the tool's."""
    repeatability_source: Mapped[str | None] = mapped_column(String(300))
    """The study that found it; null where it is the tool's."""
    confirmed: Mapped[bool] = mapped_column(default=False)
    """Outside the plausible range, and confirmed by the technician."""
    accepted: Mapped[bool] = mapped_column(default=False)
    """Too close to call, and accepted by the technician with a note."""
    note: Mapped[str | None] = mapped_column(String(1000))


class Adjustment(Base):
    """What was done: which part, in which direction, how far. Never edited, never deleted."""

    __tablename__ = "adjustments"
    __table_args__ = (
        Index("ix_adjustments_job", "job_id", "done_at", "id"),
        check("side IS NULL OR string IS NULL", "side_or_string"),
    )

    id: Mapped[UUID] = mapped_column(primary_key=True)
    """Made by the client."""
    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"))
    fingerprint: Mapped[str] = mapped_column(String(64))
    claim_id: Mapped[UUID] = mapped_column(ForeignKey("claims.id"))
    done_at: Mapped[datetime]
    received_at: Mapped[datetime]
    bench_id: Mapped[UUID | None] = mapped_column(ForeignKey("benches.id"))
    technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))
    key_id: Mapped[UUID] = mapped_column(ForeignKey("api_keys.id"))
    part: Mapped[Part] = mapped_column(words(Part, "part"))
    side: Mapped[Side | None] = mapped_column(words(Side, "side"))
    string: Mapped[int | None]
    pickup: Mapped[str | None] = mapped_column(String(100))
    turns: Mapped[float | None]
    """Positive = tighten (rod), raise (height), away from the nut (saddle position)."""
    amount: Mapped[float | None]
    """mm moved, filed, sanded or shimmed; positive as for turns, filing is negative."""
    typed: Mapped[dict[str, Any]] = mapped_column(Json)
    large_turn: Mapped[bool] = mapped_column(default=False)
    """More than a quarter turn of the rod at once: kept, and flagged."""
    confirmed: Mapped[bool] = mapped_column(default=False)
    outside_plan: Mapped[bool] = mapped_column(default=False)
    """No plan was named, or the named plan did not ask for this."""
    string_set_id: Mapped[UUID | None] = mapped_column(ForeignKey("string_sets.id"))
    tuning_id: Mapped[UUID | None] = mapped_column(ForeignKey("tunings.id"))
    fitted_before: Mapped[dict[str, Any] | None] = mapped_column(Json)
    """What the instrument was strung with before a change of strings, for when it is taken back."""
    minutes: Mapped[int | None]
    consent_id: Mapped[UUID | None] = mapped_column(ForeignKey("consents.id"))
    plan_digest: Mapped[str | None] = mapped_column(String(64))
    note: Mapped[str | None] = mapped_column(String(4000))

    @property
    def counts_at(self) -> datetime:
        """When it counts as done."""
        return counts_at(self.done_at, self.received_at)


class Withdrawal(Base):
    """Why an adjustment that was told counts no more, and what stands in its place."""

    __tablename__ = "withdrawals"
    __table_args__ = (Index("uq_withdrawals_replaced_by_id", "replaced_by_id", unique=True),)

    adjustment_id: Mapped[UUID] = mapped_column(ForeignKey("adjustments.id"), primary_key=True)
    replaced_by_id: Mapped[UUID | None] = mapped_column(ForeignKey("adjustments.id"))
    """None when nothing was done."""
    reason: Mapped[str] = mapped_column(String(1000))
    withdrawn_at: Mapped[datetime]
    technician_id: Mapped[UUID | None] = mapped_column(ForeignKey("technicians.id"))
    key_id: Mapped[UUID] = mapped_column(ForeignKey("api_keys.id"))


def stands(table: type[ReadingSheet | Adjustment]) -> ColumnElement[bool]:
    """Return the condition that a sheet was not corrected, or an adjustment not withdrawn."""
    if table is Adjustment:
        return ~select(Withdrawal.adjustment_id).where(Withdrawal.adjustment_id == Adjustment.id).exists()
    later = aliased(ReadingSheet)
    return ~select(later.id).where(later.supersedes_id == ReadingSheet.id).exists()


class ShownPlan(Base):
    """A plan as it was shown, kept once an adjustment says that it followed it."""

    __tablename__ = "shown_plans"
    __table_args__ = ({"info": {"audited": False}},)

    job_id: Mapped[UUID] = mapped_column(ForeignKey("jobs.id"), primary_key=True)
    digest: Mapped[str] = mapped_column(String(64), primary_key=True)
    stored_at: Mapped[datetime]
    plan: Mapped[dict[str, Any]] = mapped_column(Json)


Told = TypeVar("Told", ReadingSheet, Adjustment)


def oldest_first(found: Iterable[Told]) -> list[Told]:
    """Return sheets or adjustments in the order in which they count."""
    return sorted(found, key=lambda each: (each.counts_at, each.id))

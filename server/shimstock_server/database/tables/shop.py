"""The shop itself: settings, hours, people, benches, tools."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, Index, String, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from ..words import Skill, Units
from .base import Base, Json, Versioned, check, words


class Shop(Versioned, Base):
    """The one shop of this installation (`singleton` keeps it one)."""

    __tablename__ = "shop"
    __table_args__ = (check("singleton = 1", "one_shop"), UniqueConstraint("singleton"))

    singleton: Mapped[int] = mapped_column(default=1)
    name: Mapped[str] = mapped_column(String(200))
    place: Mapped[str | None] = mapped_column(String(200))
    contact: Mapped[str | None] = mapped_column(String(500))
    """How owners reach the shop; it stands on their page."""
    zone: Mapped[str] = mapped_column(String(64))
    units: Mapped[Units] = mapped_column(words(Units, "units"), default=Units.MM)
    currency: Mapped[str] = mapped_column(String(3), default="EUR")
    language: Mapped[str] = mapped_column(String(35), default="en")
    settle_first_minutes: Mapped[int] = mapped_column(default=120)
    claims_per_technician: Mapped[int] = mapped_column(default=3)
    recheck_probability: Mapped[float] = mapped_column(default=0.25)
    string_hours: Mapped[float] = mapped_column(default=100.0)
    string_days: Mapped[int] = mapped_column(default=90)
    shop_rate: Mapped[float | None]
    humidity_low: Mapped[float] = mapped_column(default=35.0)
    humidity_high: Mapped[float] = mapped_column(default=60.0)
    everything_at_the_end: Mapped[bool] = mapped_column(default=False)
    """Whether the final readings take in every quantity, or those alone that moved since they were read."""
    prices: Mapped[dict[str, Any]] = mapped_column(Json, default=dict)
    """What the plans reckon with, where it is not as usual."""

    opening_hours: Mapped[list[OpeningHours]] = relationship(
        order_by="(OpeningHours.weekday, OpeningHours.opens)", cascade="all, delete-orphan"
    )


class OpeningHours(Versioned, Base):
    """One opening of a weekday, as local wall time; Monday is 1 (ISO 8601)."""

    __tablename__ = "opening_hours"
    __table_args__ = (
        check("weekday BETWEEN 1 AND 7", "weekday"),
        check("opens < closes", "opens_before_closes"),
        UniqueConstraint("shop_id", "weekday", "opens"),
    )

    shop_id: Mapped[UUID] = mapped_column(ForeignKey("shop.id"))
    weekday: Mapped[int]
    opens: Mapped[str] = mapped_column(String(5))
    closes: Mapped[str] = mapped_column(String(5))


class Closure(Versioned, Base):
    """A dated exception: closed all day, or open at other hours."""

    __tablename__ = "closures"
    __table_args__ = (
        UniqueConstraint("day"),
        check("(opens IS NULL) = (closes IS NULL)", "hours_in_pairs"),
        check("opens IS NULL OR opens < closes", "opens_before_closes"),
    )

    day: Mapped[date]
    reason: Mapped[str | None] = mapped_column(String(200))
    opens: Mapped[str | None] = mapped_column(String(5))
    closes: Mapped[str | None] = mapped_column(String(5))


class Technician(Versioned, Base):
    __tablename__ = "technicians"
    __table_args__ = (UniqueConstraint("name"),)

    name: Mapped[str] = mapped_column(String(200))
    active: Mapped[bool] = mapped_column(default=True)
    shifts: Mapped[list[Any]] = mapped_column(Json, default=list)

    skills: Mapped[list[TechnicianSkill]] = relationship(cascade="all, delete-orphan", lazy="selectin")


class TechnicianSkill(Base):
    __tablename__ = "technician_skills"

    technician_id: Mapped[UUID] = mapped_column(ForeignKey("technicians.id"), primary_key=True)
    skill: Mapped[Skill] = mapped_column(words(Skill, "skill"), primary_key=True)


class Bench(Versioned, Base):
    __tablename__ = "benches"
    __table_args__ = (UniqueConstraint("name"),)

    name: Mapped[str] = mapped_column(String(200))
    active: Mapped[bool] = mapped_column(default=True)
    skills: Mapped[list[Any]] = mapped_column(Json, default=list)
    """What this bench is equipped for; empty means anything."""


class Tool(Versioned, Base):
    """A measuring tool: resolution and repeatability in the unit that `unit` names (mm, cents, percent)."""

    __tablename__ = "tools"
    __table_args__ = (
        UniqueConstraint("name"),
        check("resolution > 0", "resolution"),
        check("repeatability IS NULL OR repeatability > 0", "repeatability"),
        check("unit IN ('mm', 'cents', 'percent')", "unit"),
        Index("ix_tools_bench_id", "bench_id", sqlite_where=text("bench_id IS NOT NULL")),
    )

    name: Mapped[str] = mapped_column(String(200))
    quantities: Mapped[list[Any]] = mapped_column(Json, default=list)
    """The quantities that it measures."""
    unit: Mapped[str] = mapped_column(String(10))
    resolution: Mapped[float]
    resolution_typed: Mapped[dict[str, Any]]
    repeatability: Mapped[float | None]
    repeatability_typed: Mapped[dict[str, Any] | None]
    bench_id: Mapped[UUID | None] = mapped_column(ForeignKey("benches.id"))
    checked_at: Mapped[datetime | None]
    active: Mapped[bool] = mapped_column(default=True)

"""Owners and their instruments."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, Index, String, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from ..words import Handedness, Units
from .base import Base, Json, Versioned, words
from .catalogue import InstrumentModel


class Owner(Versioned, Base):
    """A person: the only table, with owner texts on jobs, that holds personal data."""

    __tablename__ = "owners"

    name: Mapped[str | None] = mapped_column(String(200), info={"personal": True})
    search_name: Mapped[str] = mapped_column(String(500), default="", info={"personal": True})
    """The name in small letters without accents, a blank before each word."""
    email: Mapped[str | None] = mapped_column(String(320), info={"personal": True})
    phone: Mapped[str | None] = mapped_column(String(60), info={"personal": True})
    note: Mapped[str | None] = mapped_column(String(4000), info={"personal": True})
    units: Mapped[Units] = mapped_column(words(Units, "units"), default=Units.MM)
    language: Mapped[str] = mapped_column(String(35), default="en")
    erased_at: Mapped[datetime | None]


class Instrument(Versioned, Base):
    """One instrument: an instance of a model, with what is its own."""

    __tablename__ = "instruments"
    __table_args__ = (
        Index("ix_instruments_owner_id", "owner_id"),
        Index("ix_instruments_model_id", "model_id"),
        Index("uq_instruments_serial", "model_id", "serial", unique=True,
              sqlite_where=text("serial IS NOT NULL"), postgresql_where=text("serial IS NOT NULL")),
    )  # fmt: skip

    model_id: Mapped[UUID] = mapped_column(ForeignKey("instrument_models.id"))
    owner_id: Mapped[UUID] = mapped_column(ForeignKey("owners.id"))
    serial: Mapped[str | None] = mapped_column(String(100))
    nickname: Mapped[str | None] = mapped_column(String(200), info={"personal": True})
    made_in: Mapped[int | None]
    """The year it was made, where known."""
    handedness: Mapped[Handedness] = mapped_column(words(Handedness, "handedness"), default=Handedness.RIGHT)
    string_set_id: Mapped[UUID | None] = mapped_column(ForeignKey("string_sets.id"))
    tuning_id: Mapped[UUID | None] = mapped_column(ForeignKey("tunings.id"))
    strings_fitted_on: Mapped[date | None]
    named_consents: Mapped[bool] = mapped_column(default=False)
    truss_rod: Mapped[dict[str, Any]] = mapped_column(Json, default=dict)
    """What is known of this instrument's own rod: turns left, direction; overrides the model's."""
    bridge: Mapped[dict[str, Any]] = mapped_column(Json, default=dict)
    """What is known of this instrument's own bridge: travel left, saddle height; overrides the model's."""
    parts: Mapped[list[Any]] = mapped_column(Json, default=list)
    """Woods and finish where they differ from the model's."""
    home: Mapped[dict[str, Any] | None] = mapped_column(Json, info={"personal": True})
    """Where it lives: place, case or wall, heating, humidifier."""
    typed: Mapped[dict[str, Any]] = mapped_column(Json, default=dict)
    """Quantities as they were typed, by field path."""
    notes: Mapped[str | None] = mapped_column(String(4000))

    model: Mapped[InstrumentModel] = relationship(lazy="joined", innerjoin=True)

"""The catalogue: instrument models, string sets, tunings, setup specs."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import ForeignKey, Index, String, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from ..words import BuiltFor, Kind, Quantity, Side, SpecScope
from .base import Base, Identified, Json, Versioned, check, words


class StringSet(Versioned, Base):
    """A set of strings as sold: one row a string, string 1 on the treble side."""

    __tablename__ = "string_sets"
    __table_args__ = (UniqueConstraint("name"),)

    name: Mapped[str] = mapped_column(String(200))
    built_for: Mapped[BuiltFor] = mapped_column(words(BuiltFor, "built_for"))
    kinds: Mapped[list[Any]] = mapped_column(Json, default=list)
    """The kinds of instrument that it is meant for; empty means any."""
    strings: Mapped[list[Any]] = mapped_column(Json)
    """Ordered from string 1: gauge, core, wrap, material, linear density, and as typed."""


class Tuning(Versioned, Base):
    """Notes from string 1 to the last, and the reference pitch."""

    __tablename__ = "tunings"
    __table_args__ = (UniqueConstraint("name"), check("reference_pitch BETWEEN 380 AND 480", "reference"))

    name: Mapped[str] = mapped_column(String(200))
    notes: Mapped[list[Any]] = mapped_column(Json)
    reference_pitch: Mapped[float] = mapped_column(default=440.0)


class InstrumentModel(Versioned, Base):
    """What the plan knows of an instrument: geometry, bridge, rod, woods. Lengths in mm."""

    __tablename__ = "instrument_models"
    __table_args__ = (
        UniqueConstraint("maker", "name"),
        check("strings BETWEEN 3 AND 14", "strings"),
        check("frets BETWEEN 12 AND 36", "frets"),
        check("scale_bass > 0 AND scale_treble > 0", "scale"),
    )

    maker: Mapped[str] = mapped_column(String(200))
    name: Mapped[str] = mapped_column(String(200))
    kind: Mapped[Kind] = mapped_column(words(Kind, "kind"))
    built_for: Mapped[BuiltFor] = mapped_column(words(BuiltFor, "built_for"))
    strings: Mapped[int]
    courses: Mapped[list[Any] | None] = mapped_column(Json)
    """For instruments with courses: lists of string numbers that are played together."""
    scale_bass: Mapped[float]
    scale_treble: Mapped[float]
    perpendicular_fret: Mapped[float | None]
    frets: Mapped[int]
    body_joint_fret: Mapped[float | None]
    radius_nut: Mapped[float | None]
    radius_body_end: Mapped[float | None]
    """Both radii null: a flat board."""
    bridge: Mapped[dict[str, Any]] = mapped_column(Json)
    truss_rod: Mapped[dict[str, Any]] = mapped_column(Json)
    nut: Mapped[dict[str, Any] | None] = mapped_column(Json)
    pickups: Mapped[list[Any]] = mapped_column(Json, default=list)
    neck_joint: Mapped[dict[str, Any] | None] = mapped_column(Json)
    parts: Mapped[list[Any]] = mapped_column(Json, default=list)
    """Woods and finish: part, species, finish, coats."""
    greatest_pull: Mapped[float | None]
    """Greatest total pull of the strings that the model allows [N]."""
    named_consents: Mapped[bool] = mapped_column(default=False)
    """Old or valuable: a general consent is not enough."""
    delicate_finish: Mapped[bool] = mapped_column(default=False)
    """Old nitrocellulose or celluloid: no flame, no heat, no solvent."""
    string_set_id: Mapped[UUID | None] = mapped_column(ForeignKey("string_sets.id"))
    tuning_id: Mapped[UUID | None] = mapped_column(ForeignKey("tunings.id"))
    typed: Mapped[dict[str, Any]] = mapped_column(Json, default=dict)
    """Quantities as they were typed, by field path."""
    notes: Mapped[str | None] = mapped_column(String(4000))


class SetupSpec(Identified, Base):
    """One version of the targets that stand at one place; a new version is a new row."""

    __tablename__ = "setup_specs"
    __table_args__ = (
        check(
            "(CASE WHEN kind IS NOT NULL THEN 1 ELSE 0 END)"
            " + (CASE WHEN model_id IS NOT NULL THEN 1 ELSE 0 END)"
            " + (CASE WHEN instrument_id IS NOT NULL THEN 1 ELSE 0 END)"
            " + (CASE WHEN job_id IS NOT NULL THEN 1 ELSE 0 END) = 1",
            "one_place",
        ),
        UniqueConstraint("place", "number"),
        Index("uq_setup_specs_current", "place", unique=True,
              sqlite_where=text("current"), postgresql_where=text("current")),
    )  # fmt: skip

    scope: Mapped[SpecScope] = mapped_column(words(SpecScope, "scope"))
    kind: Mapped[Kind | None] = mapped_column(words(Kind, "kind"))
    model_id: Mapped[UUID | None] = mapped_column(ForeignKey("instrument_models.id"))
    instrument_id: Mapped[UUID | None] = mapped_column(ForeignKey("instruments.id"))
    job_id: Mapped[UUID | None] = mapped_column(ForeignKey("jobs.id"))
    place: Mapped[str] = mapped_column(String(80))
    """`shop:electric`, `model:<id>`, `instrument:<id>`, `job:<id>`: what the versions are counted over."""
    number: Mapped[int]
    current: Mapped[bool] = mapped_column(default=True)
    reason: Mapped[str | None] = mapped_column(String(1000))

    items: Mapped[list[SetupSpecItem]] = relationship(
        cascade="all, delete-orphan", lazy="selectin", order_by="SetupSpecItem.position"
    )


class SetupSpecItem(Base):
    """Target and limits of one quantity [mm or cents], with the frets it is meant at."""

    __tablename__ = "setup_spec_items"
    __table_args__ = (
        check("lower IS NULL OR upper IS NULL OR lower <= upper", "lower_below_upper"),
        check("lower IS NULL OR target >= lower", "target_above_lower"),
        check("upper IS NULL OR target <= upper", "target_below_upper"),
        check("side IS NULL OR string IS NULL", "side_or_string"),
    )

    spec_id: Mapped[UUID] = mapped_column(ForeignKey("setup_specs.id"), primary_key=True)
    position: Mapped[int] = mapped_column(primary_key=True)
    quantity: Mapped[Quantity] = mapped_column(words(Quantity, "quantity"))
    side: Mapped[Side | None] = mapped_column(words(Side, "side"))
    string: Mapped[int | None]
    pickup: Mapped[str | None] = mapped_column(String(100))
    target: Mapped[float]
    lower: Mapped[float | None]
    upper: Mapped[float | None]
    hold_low: Mapped[int | None]
    hold_high: Mapped[int | None]
    reading_fret: Mapped[int | None]
    typed: Mapped[dict[str, Any]] = mapped_column(Json)

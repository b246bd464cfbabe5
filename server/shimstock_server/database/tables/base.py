"""What every table shares: naming of constraints, ids, instants, JSON, versions.

`created_at` and `updated_at` are set at flush from the one clock (see `database/history.py`).
"""

from __future__ import annotations

import enum
from datetime import UTC, datetime
from typing import Any, ClassVar
from uuid import UUID

import uuid_utils.compat
from sqlalchemy import JSON, CheckConstraint, DateTime, Enum, Integer, MetaData, String, Text, Uuid
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column
from sqlalchemy.types import TypeDecorator, TypeEngine

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}


class Instant(TypeDecorator[datetime]):
    """An instant in UTC: `timestamp with time zone` on PostgreSQL, fixed-width ISO text on SQLite.

    The text sorts in the order of time, so ORDER BY and < mean the same on both databases.
    """

    impl = DateTime
    cache_ok = True

    @property
    def python_type(self) -> type[datetime]:
        """What a value of this column is in Python; a list's cursor needs it to read its place again."""
        return datetime

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        if dialect.name == "sqlite":
            return dialect.type_descriptor(String(27))
        return dialect.type_descriptor(DateTime(timezone=True))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("an instant needs an offset")
        utc = value.astimezone(UTC)
        if dialect.name == "sqlite":
            # strftime writes early years short, and then they neither sort nor can be read again
            return utc.replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"
        return utc

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        if value is None:
            return None
        if isinstance(value, str):
            return datetime.fromisoformat(value.zfill(27))
        return value.astimezone(UTC)  # type: ignore[no-any-return]


Json = JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")
"""Structured details that no query filters on; null is SQL NULL."""


def new_id() -> UUID:
    """A UUIDv7: unique, and rising with the time it was made."""
    return uuid_utils.compat.uuid7()


def words(choices: type[enum.StrEnum], name: str) -> Enum:
    """A column of words from a fixed list, checked by the database."""
    return Enum(
        choices,
        name=name,
        native_enum=False,
        create_constraint=True,
        length=40,
        values_callable=lambda e: [member.value for member in e],
    )


class Base(DeclarativeBase):
    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        datetime: Instant,
        UUID: Uuid(),
        str: Text,
        dict[str, Any]: Json,
        list[Any]: Json,
    }


class Identified:
    """A row with a UUIDv7 and the instant it was made."""

    id: Mapped[UUID] = mapped_column(primary_key=True, default=new_id, sort_order=-10)
    created_at: Mapped[datetime] = mapped_column(sort_order=90)


class Versioned(Identified):
    """A row that people edit: its version stands behind ETag and If-Match, and is checked in SQL."""

    version: Mapped[int] = mapped_column(Integer, nullable=False, sort_order=91)
    updated_at: Mapped[datetime] = mapped_column(sort_order=92)

    @declared_attr.directive
    def __mapper_args__(cls) -> dict[str, Any]:  # noqa: N805
        """Every UPDATE says WHERE version = the one that was read; none hit is a stale edit."""
        return {"version_id_col": cls.__table__.c.version}  # type: ignore[attr-defined]


def check(condition: str, name: str) -> CheckConstraint:
    return CheckConstraint(condition, name=name)

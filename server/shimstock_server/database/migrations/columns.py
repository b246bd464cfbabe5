"""Column types as the migrations write them, and how a column of words gets other words."""

from __future__ import annotations

import re

import sqlalchemy as sa
from alembic import op


def words(name: str, choices: str) -> sa.Enum:
    """Return a text column that holds one of the words, checked by the database."""
    return sa.Enum(*choices.split(), name=name, native_enum=False, create_constraint=True, length=40)


def reword(table: str, column: str, choices: str) -> None:
    """Let a column of words hold these from now on.

    SQLite changes the check where it stands: a copy of the table would forget its triggers and other checks.
    """
    name = f"ck_{table}_{column}"
    condition = f"{column} IN ({', '.join(repr(word) for word in choices.split())})"
    connection = op.get_bind()
    if connection.dialect.name != "sqlite":
        op.drop_constraint(op.f(name), table, type_="check")
        op.create_check_constraint(op.f(name), table, condition)
        return
    written = connection.scalar(
        sa.text("SELECT sql FROM sqlite_master WHERE type = 'table' AND name = :table"), {"table": table}
    )
    changed, found = re.subn(
        rf"(CONSTRAINT {name} CHECK \()[^()]* IN \([^()]*\)\)", rf"\g<1>{condition})", str(written)
    )
    if found != 1:
        raise LookupError(f"{table} has no check {name} of words")
    version = connection.scalar(sa.text("PRAGMA schema_version"))
    connection.execute(sa.text("PRAGMA writable_schema = ON"))
    connection.execute(
        sa.text("UPDATE sqlite_master SET sql = :changed WHERE type = 'table' AND name = :table"),
        {"changed": changed, "table": table},
    )
    connection.execute(sa.text(f"PRAGMA schema_version = {int(version or 0) + 1}"))
    connection.execute(sa.text("PRAGMA writable_schema = OFF"))

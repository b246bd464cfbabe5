"""What many tests begin with: made once in each process, then copied into the databases of the others."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Generic, TypeVar, cast
from uuid import UUID

import psycopg
from psycopg import sql
from sqlalchemy import select

from shimstock_server.database.session import Database
from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.database.tables.operations import AuditEvent, IdempotencyKey

Made = TypeVar("Made")
Mark = tuple[frozenset[UUID], int, int]


@dataclass(frozen=True)
class _Kept(Generic[Made]):
    before: Mark
    at: datetime
    rows: Any
    made: Made


class Beginning(Generic[Made]):
    """A state of a database, and what those who begin with it need to know of it.

    It is copied only into a database that is as the first one was before: with the same keys, as many lines
    of the trail and as many kept answers, on the same day and not earlier: nothing in it may lie in the
    future of the test's clock. In any other it is made in full.
    """

    def __init__(self) -> None:
        self._kept: dict[tuple[str, date], _Kept[Made]] = {}

    def begin(self, database: Database, make: Callable[[], Made], *, now: datetime) -> Made:
        """Bring the database to this state, and return what `make` returned when it did so first."""
        key, before = (database.engine.dialect.name, now.date()), mark(database)
        kept = self._kept.get(key)
        if kept is not None and kept.before == before and kept.at <= now:
            put(database, kept.rows)
            return kept.made
        made = make()
        if kept is None or kept.at > now:
            self._kept[key] = _Kept(before, now, rows(database), made)
        return made


def mark(database: Database) -> Mark:
    """Return what tells one beginning from another."""
    with database.read() as session:
        return (
            frozenset(session.scalars(select(ApiKey.id))),
            len(session.scalars(select(AuditEvent.id)).all()),
            len(session.scalars(select(IdempotencyKey.id)).all()),
        )


def rows(database: Database) -> Any:
    """Return all that stands in a database."""
    return _sqlite_rows(database) if database.is_sqlite else _postgresql_rows(database)


def put(database: Database, kept: Any) -> None:
    """Put what `rows` returned in the place of all that stands in a database."""
    if database.is_sqlite:
        _put_sqlite(database, kept)
    else:
        _put_postgresql(database, kept)


def _sqlite_rows(database: Database) -> bytes:
    with closing(sqlite3.connect(str(database.engine.url.database))) as connection:
        file = bytearray(connection.serialize())
    # A file in memory has no write-ahead log: 1, not 2 (https://www.sqlite.org/fileformat.html, section 1.3).
    file[18:20] = b"\x01\x01"
    return bytes(file)


def _put_sqlite(database: Database, kept: bytes) -> None:
    with (
        closing(sqlite3.connect(":memory:")) as memory,
        closing(sqlite3.connect(str(database.engine.url.database))) as connection,
    ):
        memory.deserialize(kept)
        connection.execute("PRAGMA synchronous=OFF")
        memory.backup(connection)


@contextmanager
def _cursor(database: Database) -> Iterator[psycopg.Cursor]:
    with database.engine.connect() as pooled:
        connection = cast(psycopg.Connection, pooled.connection.driver_connection)
        with connection.cursor() as cursor:
            yield cursor
        connection.commit()


def _postgresql_rows(database: Database) -> dict[str, bytes]:
    found = {}
    with _cursor(database) as cursor:
        tables = cursor.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
        for (table,) in tables:
            with cursor.copy(sql.SQL("COPY {} TO STDOUT").format(sql.Identifier(table))) as copied:
                found[table] = b"".join(bytes(part) for part in copied)
    return {table: text for table, text in found.items() if text}


def _put_postgresql(database: Database, kept: dict[str, bytes]) -> None:
    with _cursor(database) as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")  # no order among foreign keys
        for table, text in kept.items():
            name = sql.Identifier(table)
            cursor.execute(sql.SQL("DELETE FROM {}").format(name))
            with cursor.copy(sql.SQL("COPY {} FROM STDIN").format(name)) as copy:
                copy.write(text)
        counters = """
            SELECT table_name, column_name, pg_get_serial_sequence(quote_ident(table_name), column_name)
            FROM information_schema.columns WHERE table_schema = 'public' AND is_identity = 'YES'
            OR (table_schema = 'public' AND column_default LIKE 'nextval%')
        """
        for table, column, counter in cursor.execute(counters).fetchall():
            newest = sql.SQL("SELECT setval({}, coalesce(max({}), 0) + 1, false) FROM {}")
            cursor.execute(newest.format(sql.Literal(counter), sql.Identifier(column), sql.Identifier(table)))

"""Who uses the database: any number of connections at once, or one process alone that replaces it.

Every connection of the service holds a shared lock for as long as it is open. The lock belongs to the
connection: it ends with the process, however that ends, and a new connection in the place of a lost one takes
it again. A command that replaces the database takes the lock alone, or is refused.

SQLite: `flock` on the file ``<database>.use``. PostgreSQL: an advisory lock of the session; behind PgBouncer,
of each writing transaction.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import NullPool

WAIT = 3.0
"""How long `alone` waits for a short command, or a process that is ending, to be done [s]."""

# Any number will do, as long as every release takes the same and no other lock has it.
_ADVISORY_LOCK = 7_447_656_264

_held_alone: set[str] = set()
"""Databases that this process holds alone; its own connections need no shared lock there."""


class InUse(Exception):  # noqa: N818 - named after its cause
    """The database is used in a way that stands against this one; the message says what to stop."""


class Replacing(InUse):
    """Another process holds the database alone."""

    def __init__(self) -> None:
        super().__init__("the database is being replaced or changed: wait until that command has ended")


@contextlib.contextmanager
def alone(url: str) -> Iterator[None]:
    """Hold the database alone.

    Raises
    ------
    InUse
        When another process uses it.
    """
    address = make_url(url)
    name = _name(address)
    with _alone_on_file(address) if _is_sqlite(address) else _alone_on_server(address):
        _held_alone.add(name)
        try:
            yield
        finally:
            _held_alone.discard(name)


class SharedConnection(sqlite3.Connection):
    """A connection to SQLite that holds the shared lock for as long as it is open."""

    _lock: int | None = None

    def close(self) -> None:
        """Close the connection, then release the lock."""
        super().close()
        self.__del__()

    def __del__(self) -> None:
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None


def connect_sqlite(path: Path, **options: Any) -> SharedConnection:
    """Open a SQLite file that is there already, under the shared lock.

    Parameters
    ----------
    path : Path
        The file.
    **options
        What else `sqlite3.connect` needs.

    Raises
    ------
    Replacing
        When another process holds the database alone.
    """
    # The lock comes first: what stands under this name may be another file a moment later.
    try:
        lock = None if str(path.resolve()) in _held_alone else _lock_file(path, fcntl.LOCK_SH)
    except OSError as error:
        # Where the lock's file cannot be, the database's cannot be either.
        failure = sqlite3.OperationalError(f"no lock beside the database: {error.strerror}")
        failure.sqlite_errorname = "SQLITE_FULL" if error.errno == errno.ENOSPC else "SQLITE_CANTOPEN"
        raise failure from error
    try:
        # SQLite would make an empty file in the place of one that is missing.
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode=rw", uri=True, factory=SharedConnection, **options
        )
    except BaseException:
        if lock is not None:
            os.close(lock)
        raise
    connection._lock = lock
    return connection


def share_postgresql(engine: Engine, *, by_transaction: bool = False) -> None:
    """Let every connection of an engine hold the shared lock.

    Parameters
    ----------
    engine : Engine
        An engine for PostgreSQL.
    by_transaction : bool
        Whether each writing transaction holds it instead: behind PgBouncer, where the next transaction may
        have another connection to the server.
    """
    name = _name(engine.url)
    if by_transaction:

        @event.listens_for(engine, "begin")
        def _share_transaction(connection: Connection) -> None:
            writes = connection.get_execution_options().get("postgresql_readonly") is False
            if writes and name not in _held_alone:
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock_shared({_ADVISORY_LOCK})")

        return

    @event.listens_for(engine, "connect")
    def _share_session(connection: Any, _record: Any) -> None:
        if name in _held_alone:
            return
        taken = connection.execute(f"SELECT pg_try_advisory_lock_shared({_ADVISORY_LOCK})").fetchone()[0]
        connection.commit()
        if not taken:
            connection.close()
            raise Replacing


def _is_sqlite(address: URL) -> bool:
    return address.get_backend_name() == "sqlite"


def _name(address: URL) -> str:
    if _is_sqlite(address):
        return str(Path(address.database or "").expanduser().resolve())
    return address.set(drivername="postgresql").render_as_string(hide_password=False)


def _lock_file(path: Path, how: int) -> int:
    """Lock the file beside a database at once, and return it open; it is never removed."""
    target = path.resolve()
    file = os.open(target.with_name(target.name + ".use"), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(file, how | fcntl.LOCK_NB)
    except BaseException as error:
        os.close(file)
        if isinstance(error, BlockingIOError):
            raise Replacing from None
        raise
    return file


def _in_use() -> InUse:
    return InUse(
        "the database is in use, and what is written meanwhile would be lost: stop the service, every worker "
        "and every other shimstock-admin command first, on every machine that uses this database"
    )


@contextlib.contextmanager
def _alone_on_file(address: URL) -> Iterator[None]:
    path = Path(_name(address))
    path.parent.mkdir(parents=True, exist_ok=True)
    until = time.monotonic() + WAIT
    while True:
        try:
            file = _lock_file(path, fcntl.LOCK_EX)
            break
        except Replacing:
            if time.monotonic() > until:
                raise _in_use() from None
            time.sleep(0.05)
    try:
        yield
    finally:
        os.close(file)


@contextlib.contextmanager
def _alone_on_server(address: URL) -> Iterator[None]:
    engine = create_engine(
        address.set(drivername="postgresql+psycopg"), poolclass=NullPool, isolation_level="AUTOCOMMIT"
    )
    try:
        with engine.connect() as connection:
            until = time.monotonic() + WAIT
            while not connection.scalar(text("SELECT pg_try_advisory_lock(:key)"), {"key": _ADVISORY_LOCK}):
                if time.monotonic() > until:
                    raise _in_use()
                time.sleep(0.05)
            try:
                yield
            finally:
                # A server releases what a closed connection held only after a moment: too late for the next.
                with contextlib.suppress(DBAPIError):
                    connection.execute(text("SELECT pg_advisory_unlock(:key)"), {"key": _ADVISORY_LOCK})
    finally:
        engine.dispose()

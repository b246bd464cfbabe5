"""Sessions: one for reading, one for writing; a database's troubles become a few problems."""

from __future__ import annotations

import contextlib
import errno
import logging
import sqlite3
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import sqlalchemy.exc
from sqlalchemy import Engine
from sqlalchemy.orm import Session
from sqlalchemy.orm.exc import StaleDataError

from shimstock_server.web.problems import Conflict, DatabaseAway, DiskFull, PreconditionFailed

from . import history
from .engine import WRITES, LockTimeout, WriterLock
from .in_use import Replacing

_log = logging.getLogger(__name__)

# https://www.postgresql.org/docs/current/errcodes-appendix.html
_PG_DISK_FULL = "53100"
_PG_READ_ONLY = "25006"
_PG_AWAY = ("08", "53", "57P", "57014", "55P03", "58")
_PG_TRY_AGAIN = ("40001", "40P01")


class TryAgain(Exception):  # noqa: N818 - named after its cause
    """The database undid the transaction because of another; the same work again is likely to go through."""


class WritingSession(Session):
    """A session whose changes leave a trail."""


history.watch(WritingSession)


class Database:
    """The one database, by whatever engine.

    Parameters
    ----------
    engine : Engine
        From `make_engine`.
    write_wait : float
        Longest wait for another writer [s], on SQLite.
    """

    def __init__(self, engine: Engine, *, write_wait: float = 5.0) -> None:
        self.engine = engine
        self.is_sqlite = engine.dialect.name == "sqlite"
        self._reader: Engine
        self._writer: Engine
        self._lock: WriterLock | None
        if self.is_sqlite:
            self._reader = engine
            self._writer = engine.execution_options(**{WRITES: True})
            self._lock = WriterLock(Path(f"{engine.url.database}.lock"), write_wait)
        else:
            # One picture of the data for the whole of a reading request; writes see what was committed last.
            self._reader = engine.execution_options(
                isolation_level="REPEATABLE READ", postgresql_readonly=True
            )
            self._writer = engine.execution_options(
                isolation_level="READ COMMITTED", postgresql_readonly=False
            )
            self._lock = None

    @contextlib.contextmanager
    def read(self, info: Mapping[str, Any] | None = None) -> Iterator[Session]:
        """Give a session that sees one state of the database and cannot change it.

        Raises
        ------
        DatabaseAway
            When the database cannot be reached.
        """
        with _told_as_problems():
            session = Session(self._reader, autoflush=False, info=dict(info or {}))
            try:
                yield session
            finally:
                # Never commit: nothing was written. Close gives the connection back.
                session.close()

    @contextlib.contextmanager
    def write(self, info: Mapping[str, Any] | None = None) -> Iterator[Session]:
        """Give a session whose changes are all kept at the end, or none when an error leaves the block.

        Parameters
        ----------
        info : mapping, optional
            What the history needs: ``actor``, ``now``, ``request_id``, ``secret`` (`database/history.py`).

        Raises
        ------
        DatabaseAway
            When the database cannot be reached, or another writer took too long.
        DiskFull
            When there is no room left.
        PreconditionFailed
            When a row that was read has been changed by somebody else.
        """
        with _told_as_problems(writes=True):
            session = WritingSession(self._writer, info=dict(info or {}))
            with self._alone():
                try:
                    yield session
                    session.flush()
                    history.write_trail(session)
                    session.commit()
                finally:
                    session.close()

    @contextlib.contextmanager
    def _alone(self) -> Iterator[None]:
        """Keep other writers out, where the database does not see to it itself."""
        if self._lock is None:
            yield
            return
        with contextlib.ExitStack() as held:
            try:
                held.enter_context(self._lock.held())
            except OSError as error:
                # Where the lock's file cannot be, the database's cannot be either.
                _log.error("no lock for writing", exc_info=True)
                raise (DiskFull() if error.errno == errno.ENOSPC else DatabaseAway()) from error
            yield

    def dispose(self) -> None:
        """Close every connection. Needed in a forked process before its first use."""
        self.engine.dispose()


@contextlib.contextmanager
def _told_as_problems(*, writes: bool = False) -> Iterator[None]:
    try:
        yield
    except (LockTimeout, Replacing):
        raise DatabaseAway(retry_after=1) from None
    except StaleDataError as error:
        raise PreconditionFailed() from error
    except sqlalchemy.exc.TimeoutError as error:
        raise DatabaseAway() from error
    except sqlalchemy.exc.IntegrityError as error:
        # Areas refuse what they can foresee with a message of their own. What is left are races.
        _log.warning("a constraint refused a change", extra={"constraint": _constraint(error)}, exc_info=True)
        raise Conflict(
            "A change made at the same moment by somebody else stands against this one."
        ) from error
    except sqlalchemy.exc.DBAPIError as error:
        problem = _problem_of(error, writes=writes)
        if problem is None:
            raise
        _log.error("database trouble", exc_info=True)
        raise problem from error


def _constraint(error: sqlalchemy.exc.DBAPIError) -> str:
    diagnosis = getattr(error.orig, "diag", None)
    if diagnosis is None:
        return str(error.orig)
    # Not the text of the error itself: PostgreSQL tells the whole row in it.
    return str(diagnosis.constraint_name or diagnosis.message_primary)


def _problem_of(error: sqlalchemy.exc.DBAPIError, *, writes: bool) -> Exception | None:
    origin = error.orig
    if isinstance(origin, sqlite3.Error):
        name = getattr(origin, "sqlite_errorname", "") or ""
        if name.startswith("SQLITE_FULL"):
            return DiskFull()
        if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_CANTOPEN", "SQLITE_IOERR")):
            return DatabaseAway()
        # The file or its disk may not be written to; in a session for reading this is the service's mistake.
        return DatabaseAway() if writes and name.startswith("SQLITE_READONLY") else None
    state = getattr(origin, "sqlstate", None)
    if state is None:
        # No answer from the server at all: the connection was refused or broke.
        away = error.connection_invalidated or isinstance(
            error, (sqlalchemy.exc.OperationalError, sqlalchemy.exc.InterfaceError)
        )
        return DatabaseAway() if away else None
    if state in _PG_TRY_AGAIN:
        return TryAgain()
    if state == _PG_DISK_FULL:
        return DiskFull()
    if writes and state == _PG_READ_ONLY:
        return DatabaseAway()
    return DatabaseAway() if state.startswith(_PG_AWAY) else None

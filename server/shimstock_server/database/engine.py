"""The engine: SQLite as an embedded database for a small shop, PostgreSQL for a larger one."""

from __future__ import annotations

import contextlib
import fcntl
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import DisconnectionError
from sqlalchemy.pool import QueuePool

from . import in_use

WRITES = "shimstock_writes"
"""Execution option of a connection whose transaction is going to write."""


RESTS = 1.0
"""After how long unused a connection to PostgreSQL is asked whether it is still there [s]."""


class LockTimeout(Exception):  # noqa: N818 - named after its cause
    """Another writer held the database for too long."""


def make_engine(
    url: str,
    *,
    pool_size: int = 8,
    write_wait: float = 5.0,
    statement_timeout: float = 15.0,
    prepare_threshold: int = 5,
) -> Engine:
    """Return an engine set up for many readers and writers at once. The database is there already.

    Parameters
    ----------
    url : str
        ``sqlite:///PATH`` or ``postgresql://…``.
    pool_size : int
        Connections kept open.
    write_wait : float
        Longest wait for a lock [s].
    statement_timeout : float
        Longest time for one statement [s], on PostgreSQL.
    prepare_threshold : int
        Uses after which PostgreSQL prepares a statement; below 0 never.
    """
    address = make_url(url)
    if address.get_backend_name() == "sqlite":
        return _sqlite(address, pool_size, write_wait)
    return _postgresql(address, pool_size, write_wait, statement_timeout, prepare_threshold)


def _sqlite(url: URL, pool_size: int, write_wait: float) -> Engine:
    path = Path(url.database or "").expanduser()
    engine = create_engine(
        url.set(database=str(path)),
        creator=lambda: in_use.connect_sqlite(path, timeout=write_wait, check_same_thread=False),
        poolclass=QueuePool,
        pool_size=pool_size,
        max_overflow=pool_size,
        pool_timeout=write_wait,
        hide_parameters=True,
    )

    @event.listens_for(engine, "connect")
    def _set_up(connection: Any, record: Any) -> None:
        record.info["file"] = _file(path)
        # The driver's own transactions begin late and never IMMEDIATE: off; _begin takes over.
        connection.isolation_level = None
        for pragma in (
            "journal_mode=WAL",
            "foreign_keys=ON",
            f"busy_timeout={int(write_wait * 1000)}",
            # FULL: what was acknowledged survives a power cut.
            "synchronous=FULL",
            # What is erased is gone from the file too, not only from the tables.
            "secure_delete=ON",
        ):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "checkout")
    def _same_file(_connection: Any, record: Any, _proxy: Any) -> None:
        # A connection outlives the file's name: what it wrote after the file was moved away would be lost.
        if record.info["file"] != _file(path):
            raise DisconnectionError("the database is another file now")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = bool(connection.get_execution_options().get(WRITES))
        # A reader that tries to write is a mistake in the service: query_only makes it fail where it happens.
        connection.exec_driver_sql(f"PRAGMA query_only={'OFF' if writes else 'ON'}")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _file(path: Path) -> tuple[int, int] | None:
    """Return what tells a file from every other, or None when there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _postgresql(
    url: URL, pool_size: int, write_wait: float, statement_timeout: float, prepare_threshold: int
) -> Engine:
    options = (
        f"-c lock_timeout={int(write_wait * 1000)} -c statement_timeout={int(statement_timeout * 1000)} "
        f"-c idle_in_transaction_session_timeout={int(statement_timeout * 4000)} -c timezone=UTC"
    )
    engine = create_engine(
        url.set(drivername="postgresql+psycopg"),
        pool_size=pool_size,
        max_overflow=pool_size,
        pool_timeout=write_wait,
        hide_parameters=True,
        connect_args={
            "connect_timeout": 5,
            "prepare_threshold": prepare_threshold if prepare_threshold >= 0 else None,
            # Options that the address names itself take the place of these.
            **({} if "options" in url.query else {"options": options}),
        },
    )

    in_use.share_postgresql(engine, by_transaction=prepare_threshold < 0)

    @event.listens_for(engine, "checkin")
    def _note_use(_connection: Any, record: Any) -> None:
        record.info["used"] = time.monotonic()

    @event.listens_for(engine, "checkout")
    def _still_there(connection: Any, record: Any, _proxy: Any) -> None:
        # Asked after a rest alone: each question costs as much as a short statement.
        now = time.monotonic()
        if now - record.info.get("used", now) < RESTS:
            return
        try:
            engine.dialect.do_ping(connection)
        except engine.dialect.loaded_dbapi.Error as error:
            raise DisconnectionError("the server has closed this connection") from error

    return engine


class WriterLock:
    """One writer at a time on an SQLite file, in the order of asking rather than by luck.

    SQLite's own waiting polls, and lets some writers wait for more than a second while others pass. A lock of
    the process, then a lock on a file beside the database, hand over at once.

    Parameters
    ----------
    path : Path
        The file that is locked.
    wait : float
        Longest wait [s].
    """

    def __init__(self, path: Path, wait: float) -> None:
        self._path = path
        self._wait = wait
        self._thread_lock = threading.Lock()
        self._pid = os.getpid()

    @contextlib.contextmanager
    def held(self) -> Iterator[None]:
        """Hold the lock.

        Raises
        ------
        LockTimeout
            When another writer kept it for longer than the wait.
        """
        if self._pid != os.getpid():
            # Forked while a thread of the parent held it: that thread does not exist here.
            self._thread_lock, self._pid = threading.Lock(), os.getpid()
        lock = self._thread_lock
        until = time.monotonic() + self._wait
        if not lock.acquire(timeout=self._wait):
            raise LockTimeout
        try:
            file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            try:
                _flock(file, until)
            except BaseException:
                os.close(file)
                raise
            try:
                yield
            finally:
                os.close(file)
        finally:
            lock.release()


def _flock(file: int, until: float) -> None:
    """Lock a file by another process's leave: at once when free, else as soon as it is."""
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return
    except BlockingIOError:
        pass
    # flock() knows no timeout and polling is unfair: let a thread wait for it on a descriptor of its own.
    waiting = os.dup(file)
    taken = threading.Event()

    def wait() -> None:
        try:
            fcntl.flock(waiting, fcntl.LOCK_EX)
        finally:
            taken.set()
            # Duplicated descriptors share one lock: it is kept for as long as the other one is open.
            os.close(waiting)

    threading.Thread(target=wait, name="writer-lock", daemon=True).start()
    if not taken.wait(max(0.0, until - time.monotonic())):
        raise LockTimeout

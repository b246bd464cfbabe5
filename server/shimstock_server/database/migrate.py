"""Bring the tables to this release, as a step of its own before the service starts."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import alembic.command
import alembic.config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event, make_url, text
from sqlalchemy.orm import Session
from sqlalchemy.pool import NullPool

from . import in_use
from .engine import WriterLock

_SCRIPTS = Path(__file__).parent / "migrations"
# Any number will do, as long as every release takes the same.
_ADVISORY_LOCK = 7_447_656_265


class WrongRevision(Exception):  # noqa: N818 - named after its cause
    """The tables of the database are not those of this release."""


class NoDatabase(WrongRevision):
    """There is no file where the database should be."""


def _config() -> alembic.config.Config:
    config = alembic.config.Config()
    config.set_main_option("script_location", str(_SCRIPTS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def head() -> str:
    """Return the revision of this release."""
    revision = ScriptDirectory.from_config(_config()).get_current_head()
    if revision is None:
        raise WrongRevision("this release has no migrations")
    return revision


def refuse_unknown(found: str, what: str = "the database") -> None:
    """Refuse what is at a revision that this release does not know, and cannot bring to its own.

    Raises
    ------
    WrongRevision
        When a later release made it.
    """
    if found not in _known():
        raise WrongRevision(
            f"{what} is at revision {found}, which this release does not know: "
            "install the release that made it, or a later one"
        )


def current(url: str) -> str | None:
    """Return the revision of a database, or None when it has no tables of ours."""
    engine = _engine(url)
    try:
        with engine.connect() as connection:
            return MigrationContext.configure(connection).get_current_revision()
    finally:
        engine.dispose()


def check(engine: Engine) -> None:
    """Refuse a database that is not at the revision of this release.

    Raises
    ------
    WrongRevision
        When it is older, newer, empty, or a file that is not there.
    """
    if engine.dialect.name == "sqlite" and not Path(engine.url.database or "").is_file():
        raise NoDatabase(
            f"there is no database {engine.url.database}: run `shimstock-admin migrate` to make one"
        )
    with engine.connect() as connection:
        _check(connection)


def check_session(session: Session) -> None:
    """Do the same within a session."""
    _check(session.connection())


@cache
def _head() -> str:
    return head()


def _check(connection: Connection) -> None:
    found = MigrationContext.configure(connection).get_current_revision()
    wanted = _head()
    if found is not None:
        refuse_unknown(found)
    if found != wanted:
        raise WrongRevision(
            f"the database is at revision {found or 'none'}, this release needs {wanted}: "
            "run `shimstock-admin migrate`"
        )


def upgrade(url: str, revision: str = "head") -> None:
    """Bring a database forward to a revision, all or nothing.

    The former release may work on meanwhile: every migration suits it.

    Raises
    ------
    WrongRevision
        When the database is of a later release, or there is no such revision.
    """
    with _migrating(url, revision) as config:
        alembic.command.upgrade(config, revision)


def downgrade(url: str, revision: str) -> None:
    """Bring a database back to a revision (`base` for none), all or nothing, while no process uses it.

    Raises
    ------
    WrongRevision
        When the database is of a later release, or there is no such revision.
    InUse
        When a process works with what would be dropped.
    """
    with in_use.alone(url), _migrating(url, revision) as config:
        alembic.command.downgrade(config, revision)


def draft(url: str, message: str) -> Path:
    """Write a migration from what the tables' definitions say beyond a migrated database; for developers.

    Parameters
    ----------
    url : str
        A database at the head revision, PostgreSQL for choice: it tells more about itself.
    message : str
        What changes, in a few words.
    """
    with _migrating(url) as config:
        script = alembic.command.revision(
            config, message, autogenerate=True, rev_id=f"{_count() + 1:04d}", splice=False
        )
    if script is None or isinstance(script, list):
        raise RuntimeError("Alembic wrote no migration")
    return Path(script.path)


def _count() -> int:
    return len(_known())


@cache
def _known() -> tuple[str, ...]:
    """Every revision of this release, the first first."""
    scripts = ScriptDirectory.from_config(_config()).walk_revisions()
    return tuple(sorted(script.revision for script in scripts))


def _engine(url: str) -> Engine:
    address = make_url(url)
    if address.get_backend_name() != "sqlite":
        engine = create_engine(address.set(drivername="postgresql+psycopg"), poolclass=NullPool)
        in_use.share_postgresql(engine)
        return engine
    path = Path(address.database or "").expanduser()
    path.parent.mkdir(parents=True, exist_ok=True)
    # The file holds the names of the shop's customers: nobody else on the machine reads it.
    path.touch(mode=0o600)
    engine = create_engine(
        address.set(database=str(path)), creator=lambda: in_use.connect_sqlite(path), poolclass=NullPool
    )

    @event.listens_for(engine, "connect")
    def _set_up(connection: Any, _record: Any) -> None:
        connection.isolation_level = None
        connection.execute("PRAGMA journal_mode=WAL").close()
        # SQLite changes a table by copying and dropping the old one; references must stand still meanwhile.
        connection.execute("PRAGMA foreign_keys=OFF").close()
        connection.execute("PRAGMA busy_timeout=30000").close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


@contextlib.contextmanager
def _migrating(url: str, revision: str = "head") -> Iterator[alembic.config.Config]:
    if revision not in ("head", "base", *_known()):
        raise WrongRevision(f"there is no revision {revision}; this release has {', '.join(_known())}")
    engine = _engine(url)
    sqlite = engine.dialect.name == "sqlite"
    lock = (
        WriterLock(Path(f"{engine.url.database}.lock"), 30.0).held() if sqlite else contextlib.nullcontext()
    )
    try:
        with lock, engine.begin() as connection:
            if not sqlite:
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _ADVISORY_LOCK})
            if (found := MigrationContext.configure(connection).get_current_revision()) is not None:
                refuse_unknown(found)
            config = _config()
            config.attributes["connection"] = connection
            yield config
            if sqlite and (broken := connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()):
                raise RuntimeError(f"the migration would leave references to nothing: {broken[:5]}")
    finally:
        engine.dispose()

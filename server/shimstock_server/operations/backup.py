"""Copies of the whole database, made while the service works, and put back."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

from sqlalchemy import URL, make_url

from shimstock_server.database import migrate
from shimstock_server.database.engine import LockTimeout, WriterLock

from .files import in_place_of


class BackupError(Exception):
    """A copy could not be made or put back; the message says why."""


def backup(url: str, target: Path) -> None:
    """Copy the database into a new file, whole or not at all.

    Raises
    ------
    BackupError
        When there is no database, or the copy fails.
    """
    address = make_url(url)
    target.parent.mkdir(parents=True, exist_ok=True)
    with in_place_of(target) as part:
        if address.get_backend_name() == "sqlite":
            _copy_sqlite(_existing(address), part)
        else:
            _run(
                "pg_dump", "--format=custom", "--no-owner", f"--file={part}", _plain(address), address=address
            )


def restore(url: str, source: Path) -> None:
    """Put a copy in the place of the database.

    What is there is replaced: stop the service first, so that nobody works on what is about to go.

    Raises
    ------
    BackupError
        When the file is no copy of such a database, is of a later release, or somebody holds the database.
    """
    if not source.is_file():
        raise BackupError(f"there is no file {source}")
    address = make_url(url)
    if address.get_backend_name() == "sqlite":
        _restore_sqlite(address, source)
    else:
        _restore_postgresql(address, source)


def _check_revision(found: str | None, source: Path) -> None:
    if found is None:
        raise BackupError(f"{source} is no copy of a database of this service")
    migrate.refuse_unknown(found, "the copy")


def _existing(address: URL) -> Path:
    path = Path(address.database or "").expanduser()
    if not path.is_file():
        raise BackupError(f"there is no database {path}")
    return path


@contextlib.contextmanager
def _open(path: Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(path, timeout=30)
    try:
        yield connection
    except sqlite3.Error as error:
        raise BackupError(f"{path}: {error}") from error
    finally:
        connection.close()


def _copy_sqlite(source: Path, target: Path) -> None:
    # SQLite's online backup: consistent while others write (https://www.sqlite.org/backup.html).
    with _open(source) as original, _open(target) as copy:
        original.backup(copy)
        copy.execute("PRAGMA journal_mode=DELETE").close()
        _check_whole(copy, target)


def _check_whole(connection: sqlite3.Connection, path: Path) -> None:
    verdict = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
    if verdict != "ok":
        raise BackupError(f"{path} is damaged: {verdict}")


def _restore_sqlite(address: URL, source: Path) -> None:
    path = Path(address.database or "").expanduser()
    path.parent.mkdir(parents=True, exist_ok=True)
    with _open(source) as copy:
        _check_whole(copy, source)
        known = copy.execute("SELECT 1 FROM sqlite_master WHERE name = 'alembic_version'").fetchone()
        row = copy.execute("SELECT version_num FROM alembic_version").fetchone() if known else None
        _check_revision(row[0] if row else None, source)
        # Made for its owner alone, as the first one was.
        path.touch(mode=0o600)
        try:
            with WriterLock(Path(f"{path}.lock"), 30.0).held(), _open(path) as target:
                copy.backup(target)
                target.execute("PRAGMA journal_mode=WAL").close()
        except LockTimeout:
            raise BackupError("somebody is writing to the database: stop the service first") from None


# The copy may be of an older release than the database: what has come since would stand in its way.
_EMPTY = """
DO $$ DECLARE each record; BEGIN
    FOR each IN SELECT tablename FROM pg_tables
            WHERE schemaname = 'public' AND tableowner = current_user LOOP
        EXECUTE format('DROP TABLE public.%I CASCADE', each.tablename);
    END LOOP;
    FOR each IN SELECT oid::regprocedure AS name FROM pg_proc
            WHERE pronamespace = 'public'::regnamespace AND prorettype = 'trigger'::regtype
            AND proowner = current_user::regrole LOOP
        EXECUTE format('DROP FUNCTION %s CASCADE', each.name);
    END LOOP;
END $$;
"""
_REVISION = re.compile(r"COPY public\.alembic_version \(version_num\) FROM stdin;\n(\w+)\n")


def _restore_postgresql(address: URL, source: Path) -> None:
    table = _run(
        "pg_restore", "--data-only", "--table=alembic_version", "--file=-", str(source), address=address
    )
    found = _REVISION.search(table)
    _check_revision(found[1] if found else None, source)
    # Beside the copy there is room for another one; the folder is its owner's alone, as the copy is.
    with tempfile.TemporaryDirectory(dir=source.parent, prefix=f"{source.name}.") as folder:
        empty, script = Path(folder) / "empty.sql", Path(folder) / "copy.sql"
        empty.write_text(_EMPTY, encoding="utf-8")
        _run("pg_restore", "--no-owner", f"--file={script}", str(source), address=address)
        _run(
            "psql",
            "--no-psqlrc",
            "--quiet",
            "--single-transaction",
            "--set=ON_ERROR_STOP=1",
            f"--file={empty}",
            f"--file={script}",
            _plain(address),
            address=address,
        )


def _plain(address: URL) -> str:
    """Return the address as PostgreSQL's own programs read it; the password goes by the environment."""
    return address.set(drivername="postgresql", password=None).render_as_string()


def _run(program: str, *arguments: str, address: URL) -> str:
    found = shutil.which(program)
    if found is None:
        raise BackupError(f"{program} is not installed; it comes with PostgreSQL's client programs")
    environment = dict(os.environ)
    if address.password is not None:
        environment["PGPASSWORD"] = str(address.password)
    done = subprocess.run([found, *arguments], env=environment, capture_output=True, text=True, check=False)  # noqa: S603
    if done.returncode != 0:
        raise BackupError(f"{program} failed: {done.stderr.strip()}")
    return done.stdout

"""Copies of the whole database, made while the service works, and put back."""

from __future__ import annotations

import contextlib
import itertools
import os
import re
import shutil
import sqlite3
import stat
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL, make_url

from shimstock_server.database import migrate

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


@dataclass(frozen=True)
class CopyDetails:
    """Revision of a copy, and the fingerprint of the secret that it belongs to, if it has one."""

    revision: str
    fingerprint: str | None


def inspect(url: str, source: Path) -> CopyDetails:
    """Return the details of a copy that this release can restore.

    Raises
    ------
    BackupError
        When the file is no copy of a database of the kind that the address names.
    WrongRevision
        When a later release made it.
    """
    if not source.is_file():
        raise BackupError(f"there is no file {source}")
    address = make_url(url)
    is_sqlite = address.get_backend_name() == "sqlite"
    details = _inspect_sqlite(source) if is_sqlite else _inspect_postgresql(address, source)
    if details is None:
        raise BackupError(f"{source} is no copy of a database of this service")
    migrate.refuse_unknown(details.revision, "the copy")
    return details


def restore(url: str, source: Path, finish: Callable[[str], None]) -> Path | None:
    """Put a copy in the place of the database, which the caller holds alone, and keep what was there.

    Parameters
    ----------
    url : str
        The database.
    source : Path
        The copy.
    finish : callable
        Called with the address of the restored database; with SQLite before it takes the place of the other.

    Returns
    -------
    Path or None
        Where the database that was there is kept; None when there was none.

    Raises
    ------
    BackupError
        When the copy is damaged, what is there cannot be kept, or another program has it open.
    """
    address = make_url(url)
    if address.get_backend_name() == "sqlite":
        return _restore_sqlite(address, source, finish)
    kept = _keep_postgresql(url, address, source.parent)
    _restore_postgresql(address, source)
    finish(url)
    return kept


def _unused(path: Path) -> Path:
    """Return a name that no file has: a database that was kept is never replaced."""
    names = itertools.chain([path], (path.with_name(f"{path.name}-{n}") for n in itertools.count(2)))
    return next(name for name in names if not name.exists())


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


def _inspect_sqlite(source: Path) -> CopyDetails | None:
    with _open(source) as copy:
        _check_whole(copy, source)
        query = "SELECT name FROM sqlite_master WHERE type = 'table'"
        tables = {name for (name,) in copy.execute(query)}
        if "alembic_version" not in tables:
            return None
        revision = copy.execute("SELECT version_num FROM alembic_version").fetchone()
        known = "secret_fingerprint" in tables
        secret = copy.execute("SELECT fingerprint FROM secret_fingerprint").fetchone() if known else None
        return None if revision is None else CopyDetails(revision[0], secret[0] if secret else None)


def _restore_sqlite(address: URL, source: Path, finish: Callable[[str], None]) -> Path | None:
    # A link stays a link: the file that it leads to is replaced.
    path = Path(address.database or "").expanduser().resolve()
    path.parent.mkdir(parents=True, exist_ok=True)
    # Made ready beside the database, and put in its place in one step.
    with tempfile.TemporaryDirectory(dir=path.parent, prefix=f"{path.name}.restoring-") as folder:
        ready = Path(folder) / path.name
        _copy_sqlite(source, ready)
        _as_former(path, ready)
        finish(f"sqlite:///{ready}")
        if _settle(ready, 30.0) != "delete":
            raise BackupError(f"{ready} is still in use")
        with ready.open("rb") as file:
            os.fsync(file.fileno())
        kept = _keep_sqlite(path)
        ready.replace(path)
    _sync_folder(path.parent)
    return kept


def _as_former(path: Path, ready: Path) -> None:
    """Give a new database to the owner of the one that it replaces, with the same rights."""
    if not path.exists():
        # Made for its owner alone, as every new database is.
        ready.chmod(0o600)
        return
    former = path.stat()
    # Only root gives files away; anybody else is the owner already, or the folder's rights decide.
    with contextlib.suppress(PermissionError):
        os.chown(ready, former.st_uid, former.st_gid)
    ready.chmod(stat.S_IMODE(former.st_mode))


def _settle(path: Path, wait: float) -> str:
    """Write what stands in the log beside a database into the database itself; return its new mode.

    Raises
    ------
    sqlite3.Error
        When another program has it open, or it is damaged.
    """
    with contextlib.closing(sqlite3.connect(path, timeout=wait)) as connection:
        return str(connection.execute("PRAGMA journal_mode=DELETE").fetchone()[0])


def _keep_sqlite(path: Path) -> Path | None:
    """Give the database that is there another name, with all that belongs to it."""
    if not path.exists():
        return None
    try:
        _settle(path, 5.0)
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise BackupError(f"another program has {path} open: end it first") from None
    except sqlite3.DatabaseError:
        pass  # Damaged, which may be why it is replaced: its files are kept as they are.
    kept = _unused(path.with_name(f"{path.name}.before-restore"))
    beside = [Path(f"{path}{end}") for end in ("-wal", "-shm", "-journal") if Path(f"{path}{end}").exists()]
    if not beside:
        with contextlib.suppress(OSError):
            # Under both names, there is no moment without a database.
            os.link(path, kept)
            return kept
    path.rename(kept)
    for file in beside:
        file.rename(kept.with_name(kept.name + file.name.removeprefix(path.name)))
    return kept


def _sync_folder(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


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
_FINGERPRINT = re.compile(r"COPY public\.secret_fingerprint \(id, fingerprint, .*\) FROM stdin;\n1\t(\w+)\t")


def _inspect_postgresql(address: URL, source: Path) -> CopyDetails | None:
    tables = ("--table=alembic_version", "--table=secret_fingerprint")
    rows = _run("pg_restore", "--data-only", *tables, "--file=-", str(source), address=address)
    revision, secret = _REVISION.search(rows), _FINGERPRINT.search(rows)
    return None if revision is None else CopyDetails(revision[1], secret[1] if secret else None)


def _keep_postgresql(url: str, address: URL, folder: Path) -> Path | None:
    """Copy the database that is there into a file beside the one that replaces it."""
    if migrate.current(url) is None:
        return None
    kept = _unused(folder / f"{address.database}.before-restore")
    try:
        backup(url, kept)
    except BackupError as error:
        raise BackupError(
            f"the database that is there could not be kept, so nothing was replaced: {error}"
        ) from error
    return kept


def _restore_postgresql(address: URL, source: Path) -> None:
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

"""Putting a backup back, and doing again what must not come undone by it."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from uuid import UUID

import sqlalchemy.exc

from shimstock_server.app import import_areas, open_database
from shimstock_server.clock import SystemClock
from shimstock_server.config import Config
from shimstock_server.database import fingerprint, in_use, migrate
from shimstock_server.owners import Erasure, erase_again, erasures
from shimstock_server.web.problems import DatabaseAway

from . import backup


@dataclass(frozen=True)
class Restored:
    """What a restore did.

    Attributes
    ----------
    erased : int
        Owners who were erased again.
    kept : Path or None
        Where the database that was replaced is kept; None when there was none.
    secret_changed : bool
        Whether the copy belonged to another secret.
    """

    erased: int
    kept: Path | None
    secret_changed: bool


def restore(config: Config, source: Path, *, change_secret: bool = False) -> Restored:
    """Put a copy in the place of the database, and erase again who was erased since.

    The list of the erased lies beside the copy until all is done, so that a restore that was stopped half-way
    goes on from there when it is repeated.

    Parameters
    ----------
    config : Config
        The settings.
    source : Path
        The copy.
    change_secret : bool
        Whether to take a copy that belongs to another secret; it belongs to the one in the settings then.

    Raises
    ------
    BackupError
        When the copy is none, belongs to another secret, or the database cannot be replaced.
    InUse
        When a service, a worker or another command uses the database.
    WrongRevision
        When the copy is of a later release.
    """
    found = backup.inspect(config.database_url, source).fingerprint
    is_another = found is not None and not fingerprint.is_of(found, config.secret)
    if is_another and not change_secret:
        raise backup.BackupError(
            f"SHIMSTOCK_SECRET is not the secret that {source} belongs to: set the one that its service "
            "worked with, then restore again; if it is lost, add --change-secret"
        )
    with in_use.alone(config.database_url):
        listed = source.with_name(source.name + ".erased")
        done = _listed(listed) | _erased(config)
        if done:
            _list(listed, done)
        erased = 0

        def finish(url: str) -> None:
            nonlocal erased
            erased = _finish(replace(config, database_url=url), done)

        kept = backup.restore(config.database_url, source, finish)
        listed.unlink(missing_ok=True)
    return Restored(erased, kept, is_another)


def _finish(config: Config, done: set[Erasure]) -> int:
    """Bring a restored database to this release and this secret, and erase again; return how many."""
    migrate.upgrade(config.database_url)
    # What an area keeps in an owner's words it takes out itself: each must have said so.
    import_areas()
    database = open_database(config)
    try:
        fingerprint.change(database, config.secret)
        with database.write({"now": SystemClock().now(), "secret": config.secret}) as session:
            return erase_again(session, sorted(done, key=lambda erasure: erasure.at))
    finally:
        database.dispose()


def _erased(config: Config) -> set[Erasure]:
    """Return who is erased in the database as it is, of which nothing need be left."""
    database = open_database(config)
    try:
        with database.read() as session:
            return set(erasures(session))
    except (DatabaseAway, sqlalchemy.exc.DBAPIError):
        return set()
    finally:
        database.dispose()


def _listed(path: Path) -> set[Erasure]:
    if not path.is_file():
        return set()
    try:
        rows = json.loads(path.read_text(encoding="utf-8"))
        return {Erasure(UUID(row["owner_id"]), datetime.fromisoformat(row["at"])) for row in rows}
    except (ValueError, KeyError, TypeError) as error:
        raise backup.BackupError(f"{path} cannot be read; it lists owners to erase again") from error


def _list(path: Path, done: set[Erasure]) -> None:
    rows = [{"owner_id": str(erasure.owner_id), "at": erasure.at.isoformat()} for erasure in done]
    part = path.with_name(path.name + ".part")
    with part.open("w", encoding="utf-8") as file:
        json.dump(rows, file)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)

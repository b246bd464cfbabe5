"""Putting a backup back, and doing again what must not come undone by it."""

from __future__ import annotations

import importlib
import json
import os
from datetime import datetime
from pathlib import Path
from uuid import UUID

import sqlalchemy.exc

from shimstock_server.app import AREAS, open_database
from shimstock_server.clock import SystemClock
from shimstock_server.config import Config
from shimstock_server.database import migrate
from shimstock_server.owners import Erasure, erase_again, erasures
from shimstock_server.web.problems import DatabaseAway

from . import backup


def restore(config: Config, source: Path) -> int:
    """Put a copy in the place of the database, and erase again who was erased since; return how many.

    The list of the erased lies beside the copy until all is done, so that a restore that was stopped half-way
    goes on from there when it is repeated.

    Raises
    ------
    BackupError
        When the copy is none, is of a later release, or somebody holds the database.
    """
    listed = source.with_name(source.name + ".erased")
    done = _listed(listed) | _erased(config)
    if done:
        _list(listed, done)
    backup.restore(config.database_url, source)
    migrate.upgrade(config.database_url)
    # What an area keeps in an owner's words it takes out itself: each must have said so.
    for area in AREAS:
        importlib.import_module(f"shimstock_server.{area}")
    database = open_database(config)
    try:
        with database.write({"now": SystemClock().now(), "secret": config.secret}) as session:
            again = erase_again(session, sorted(done, key=lambda erasure: erasure.at))
    finally:
        database.dispose()
    listed.unlink(missing_ok=True)
    return again


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

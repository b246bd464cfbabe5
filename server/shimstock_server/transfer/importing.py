"""An export put into an empty service: the same rows, or none at all."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Table, func, select
from sqlalchemy.orm import Session

from shimstock_server.database.migrate import head
from shimstock_server.database.tables import Base
from shimstock_server.database.tables.base import new_id

from .exporting import FORMAT, VERSION
from .tables import columns_of, exported_tables, fill_secrets, from_json

AT_ONCE = 1000
BEGUN = frozenset({"job_numbers"})
"""Tables to which the migrations write the row that they begin with."""


class ImportRefused(Exception):
    """The file cannot be put into this service."""


def read_export(session: Session, source: Path) -> dict[str, int]:
    """Put an export into an empty service, and return how many rows each table got.

    Raises
    ------
    ImportRefused
        When the file is no export, is damaged, is of another revision, or the service is not empty.
    """
    try:
        with zipfile.ZipFile(source) as archive:
            manifest = _manifest(archive)
            _check_empty(session)
            counts = {}
            for told in manifest["tables"]:
                table = Base.metadata.tables[told["table"]]
                counts[table.name] = _load(session, table, archive, told)
    except (zipfile.BadZipFile, OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        raise ImportRefused(f"{source} cannot be read as an export: {error}") from error
    _have_counted(session)
    return counts


def _manifest(archive: zipfile.ZipFile) -> dict[str, Any]:
    try:
        manifest: Any = json.loads(archive.read("manifest.json"))
    except KeyError as error:
        raise ImportRefused("the file has no manifest.json: it is no export of this service") from error
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise ImportRefused(f"the manifest does not say that this is a {FORMAT}")
    if manifest.get("version") != VERSION:
        raise ImportRefused(
            f"the export is of version {manifest.get('version')}; this release reads {VERSION}"
        )
    if manifest.get("revision") != head():
        raise ImportRefused(
            f"the export is of revision {manifest.get('revision')}, this release needs {head()}: "
            "import it with the release that made it, then migrate"
        )
    names = [told.get("table") for told in manifest["tables"]]
    wanted = [table.name for table in exported_tables()]
    if names != wanted:
        raise ImportRefused("the manifest does not list the tables of this release")
    return manifest


def _check_empty(session: Session) -> None:
    for table in exported_tables():
        if table.name not in BEGUN and session.scalar(select(func.count()).select_from(table)):
            raise ImportRefused(
                f"the service is not empty: {table.name} has rows. An export goes into a service that was "
                "migrated and nothing else; make keys afterwards"
            )


def _load(session: Session, table: Table, archive: zipfile.ZipFile, told: dict[str, Any]) -> int:
    columns = {column.name: column for column in columns_of(table)}
    digest = hashlib.sha256()
    count = 0
    rows: list[dict[str, Any]] = []
    order = _ParentsFirst(table)
    if table.name in BEGUN:
        session.execute(table.delete())
    for number, line in enumerate(_lines(archive, told["file"]), start=1):
        digest.update(line)
        entry = json.loads(line)
        if set(entry) != set(columns):
            raise ImportRefused(f"{told['file']} line {number}: the columns are not those of {table.name}")
        try:
            row = {name: from_json(columns[name], value) for name, value in entry.items()}
        except (ValueError, TypeError) as error:
            raise ImportRefused(f"{told['file']} line {number}: {error}") from error
        rows += order.ready(fill_secrets(table, row))
        count += 1
        if len(rows) >= AT_ONCE:
            session.execute(table.insert(), rows)
            rows = []
    if order.waiting:
        raise ImportRefused(f"{told['file']}: a row refers to one that is not there")
    if rows:
        session.execute(table.insert(), rows)
    if count != told["rows"] or digest.hexdigest() != told["sha256"]:
        raise ImportRefused(f"{told['file']} is not the file that the manifest describes: it was changed")
    return count


class _ParentsFirst:
    """Holds back rows of a table until the row of the same table that they refer to has come."""

    def __init__(self, table: Table) -> None:
        self.key = next(iter(table.primary_key.columns)).name
        self.parents = [
            foreign.parent.name for foreign in table.foreign_keys if foreign.column.table is table
        ]
        self.seen: set[Any] = set()
        self.waiting: dict[Any, list[dict[str, Any]]] = {}

    def ready(self, row: dict[str, Any]) -> list[dict[str, Any]]:
        """Return the rows that can go in now: this one, and those that waited for it; or none."""
        if not self.parents:
            return [row]
        for name in self.parents:
            parent = row[name]
            if parent is not None and parent not in self.seen and parent != row[self.key]:
                self.waiting.setdefault(parent, []).append(row)
                return []
        self.seen.add(row[self.key])
        found = [row]
        for child in self.waiting.pop(row[self.key], []):
            found += self.ready(child)
        return found


def _lines(archive: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    with archive.open(name) as file:
        yield from file


def _have_counted(session: Session) -> None:
    """Have the workers count, learn and forecast everything anew."""
    tables = Base.metadata.tables
    now = session.info["now"]
    jobs = tables["jobs"]
    marks = [
        {"id": new_id(), "job_id": job_id, "created_at": now}
        for job_id in session.scalars(select(jobs.c.id).where(jobs.c.instrument_id.is_not(None)))
    ]
    if marks:
        session.execute(tables["learning_marks"].insert(), marks)
    session.execute(
        tables["season_marks"].insert(),
        [{"what": what, "marked_at": now, "turn": 1} for what in ("all", "learning")],
    )

"""An export put into an empty service: the same rows, or none at all."""

from __future__ import annotations

import hashlib
import json
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import sqlalchemy.exc
from sqlalchemy import Column, Table, func, select
from sqlalchemy.orm import Session

from shimstock_server.database.migrate import head
from shimstock_server.database.tables import Base
from shimstock_server.database.tables.base import new_id
from shimstock_server.web.parsing import parse_json
from shimstock_server.web.problems import BadJson, InvalidFields

from .exporting import FORMAT, VERSION
from .tables import columns_of, exported_tables, file_of, fill_secrets, from_json

AT_ONCE = 1000
BEGUN = frozenset({"job_numbers"})
"""Tables to which the migrations write the row that they begin with."""
LONGEST_MANIFEST, LONGEST_LINE = 1 << 20, 8 << 20
"""More is no export: a small file that unpacks to a large one is not read to its end [byte]."""
DEEPEST = 40
"""A column of JSON is nested as deep as a body may be, 32, and stands in a row."""

DAMAGED = (
    zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, UnicodeDecodeError,
    json.JSONDecodeError, RecursionError,
)  # fmt: skip
"""What reading a zip or a line raises when they are cut short, changed, locked or packed in another way."""


class ImportRefused(Exception):  # noqa: N818 - named after its cause
    """The file cannot be put into this service."""


def read_export(session: Session, source: Path) -> dict[str, int]:
    """Put an export into an empty service, and return how many rows each table got.

    A sheet or adjustment that an earlier release took with a time far ahead comes in as it stands, and counts
    from when it was received, here as there.

    Nothing is unpacked to the disk; of the file only the manifest and the tables that it lists are read.

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
    except DAMAGED as error:
        raise ImportRefused(f"{source} cannot be read as an export: {error or 'it is damaged'}") from error
    _have_counted(session)
    return counts


def put_rows(session: Session, rows: Mapping[str, Sequence[dict[str, Any]]]) -> None:
    """Put rows into the tables of a service that runs, and have everything counted and learned anew.

    Raises
    ------
    ImportRefused
        When a row does not fit.
    """
    for table in exported_tables():
        found = list(rows.get(table.name, ()))
        for start in range(0, len(found), AT_ONCE):
            _insert(session, table, found[start : start + AT_ONCE], table.name)
    _have_counted(session)


def _manifest(archive: zipfile.ZipFile) -> dict[str, Any]:
    try:
        with archive.open("manifest.json") as file:
            text = file.read(LONGEST_MANIFEST + 1)
    except KeyError as error:
        raise ImportRefused("the file has no manifest.json: it is no export of this service") from error
    if len(text) > LONGEST_MANIFEST:
        raise ImportRefused("manifest.json is longer than any manifest of this service")
    manifest: Any = json.loads(text)
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
    listed = manifest.get("tables")
    wanted = [{"table": table.name, "file": file_of(table)} for table in exported_tables()]
    if not isinstance(listed, list) or [_which(told) for told in listed] != wanted:
        raise ImportRefused("the manifest does not list the tables of this release")
    return manifest


def _which(told: Any) -> dict[str, Any] | None:
    """Which table an entry is about; None when it does not say how many rows it has, and their hash."""
    if not isinstance(told, dict) or type(told.get("rows")) is not int or type(told.get("sha256")) is not str:
        return None
    return {name: told.get(name) for name in ("table", "file")}


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
    changed = f"{told['file']} is not the file that the manifest describes: it was changed"
    for number, line in enumerate(_lines(archive, told["file"]), start=1):
        if number > told["rows"]:
            raise ImportRefused(changed)
        digest.update(line)
        rows += order.ready(fill_secrets(table, _row(line, columns, f"{told['file']} line {number}")))
        count += 1
        if len(rows) >= AT_ONCE:
            _insert(session, table, rows, told["file"])
            rows = []
    if order.waiting:
        raise ImportRefused(f"{told['file']}: a row refers to one that is not there")
    _insert(session, table, rows, told["file"])
    if count != told["rows"] or digest.hexdigest() != told["sha256"]:
        raise ImportRefused(changed)
    return count


def _row(line: bytes, columns: dict[str, Column[Any]], where: str) -> dict[str, Any]:
    entry = _parse(line, where)
    if not isinstance(entry, dict) or set(entry) != set(columns):
        raise ImportRefused(f"{where}: the columns are not those of this table")
    try:
        return {name: from_json(columns[name], value) for name, value in entry.items()}
    except (ValueError, TypeError, AttributeError) as error:
        raise ImportRefused(f"{where}: {error}") from error


def _parse(line: bytes, where: str) -> Any:
    try:
        return parse_json(line, max_depth=DEEPEST)
    except BadJson as error:
        raise ImportRefused(f"{where} cannot be read: it is no JSON") from error
    except InvalidFields as error:
        wrong = (error.errors or [{}])[0]
        raise ImportRefused(f"{where}: {wrong.get('pointer', '')} {wrong.get('message', '')}") from error


def _insert(session: Session, table: Table, rows: list[dict[str, Any]], file: str) -> None:
    if not rows:
        return
    try:
        session.execute(table.insert(), rows)
    except sqlalchemy.exc.OperationalError:
        raise  # of the database, not of the file
    except sqlalchemy.exc.StatementError as error:
        reason = str(getattr(error, "orig", None) or error).strip().splitlines()[0]
        raise ImportRefused(f"{file}: a row does not fit the tables of this service: {reason}") from error
    except (ValueError, TypeError, OverflowError) as error:
        raise ImportRefused(f"{file}: a value does not fit its column: {error}") from error


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
    try:
        file = archive.open(name)
    except KeyError as error:
        raise ImportRefused(f"{name} is missing: the file is not whole") from error
    with file:
        while line := file.readline(LONGEST_LINE + 1):
            if len(line) > LONGEST_LINE:
                raise ImportRefused(f"{name} has a line that is longer than any of an export")
            yield line


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
    seasons = tables["season_marks"]
    wanted = ("all", "learning")
    session.execute(
        seasons.update().where(seasons.c.what.in_(wanted)).values(marked_at=now, turn=seasons.c.turn + 1)
    )
    known = set(session.scalars(select(seasons.c.what)))
    new = [{"what": what, "marked_at": now, "turn": 1} for what in wanted if what not in known]
    if new:
        session.execute(seasons.insert(), new)

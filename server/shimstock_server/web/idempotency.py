"""The same request twice has one effect and one answer."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, TypeVar, cast
from uuid import UUID

import sqlalchemy.exc
from flask import Response, request
from sqlalchemy import Table, bindparam, delete, select, update
from sqlalchemy.dialects.postgresql import insert as postgresql_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.orm import Session

from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.operations import IdempotencyKey

from .context import current
from .problems import IdTaken, KeyReused, RequestInProgress

Row = TypeVar("Row")

_KEPT_HEADERS = ("ETag", "Location", "Content-Type", "Content-Language")

# Made once: building a statement takes longer than running it.
_KEYS = cast("Table", IdempotencyKey.__table__)
_INSERT_SQLITE = sqlite_insert(_KEYS).on_conflict_do_nothing().returning(_KEYS.c.id)
_INSERT_POSTGRESQL = postgresql_insert(_KEYS).on_conflict_do_nothing().returning(_KEYS.c.id)
_KEEP = (
    update(_KEYS)
    .where(_KEYS.c.id == bindparam("row"))
    .values({name: bindparam(name) for name in ("status", "headers", "body")})
)


def fingerprint(body: Any) -> str:
    """Return what two requests have in common when they say the same in whatever order."""
    return content_hash({"body": body, "query": sorted(request.args.items(multi=True))})


def content_hash(tree: Any) -> str:
    """Return the SHA-256 of a JSON tree, the same in whatever order its fields stand."""
    told = json.dumps(tree, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(told.encode()).hexdigest()


def client_made(session: Session, table: type[Row], identifier: UUID, sameness: str) -> Row | None:
    """Return the row that has an id made by a client already, or None when it is new.

    Parameters
    ----------
    table : mapped class
        With a column `fingerprint`.
    identifier : UUID
        The id from the body.
    sameness : str
        ``current.fingerprint``: the hash of the body, kept with the row.

    Raises
    ------
    IdTaken
        When the row says something else.
    """
    row = session.get(table, identifier)
    if row is not None and row.fingerprint != sameness:  # type: ignore[attr-defined]
        raise IdTaken()
    return row


@dataclass(frozen=True)
class Claim:
    """The right to answer under a key, held until the transaction ends."""

    row_id: Any

    def keep(self, session: Session, response: Response, body: str | None) -> None:
        """Keep the answer beside its effect."""
        kept = {
            "row": self.row_id,
            "status": response.status_code,
            "headers": {name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers},
            "body": body,
        }
        session.connection().execute(_KEEP, kept)

    def drop(self, session: Session) -> None:
        """Forget the key: the next request under it is a new one."""
        session.execute(delete(IdempotencyKey).where(IdempotencyKey.id == self.row_id))


def claim(session: Session, key: str, sameness: str) -> Claim | Response:
    """Take the key for this request, or return the answer that it has got already.

    Must be the first statement of the transaction. A second request under the same key waits here until the
    first one's transaction has ended, so it sees either the answer or nothing.

    Raises
    ------
    RequestInProgress
        When the first one takes longer than the wait.
    KeyReused
        When the key stands for another request.
    """
    row = {
        "id": new_id(),
        "api_key_id": current.actor.key_id,
        "method": request.method,
        "path": request.path,
        "key": key,
        "fingerprint": sameness,
        "created_at": current.now,
    }
    if _insert(session, row):
        return Claim(row["id"])
    found = session.execute(
        select(IdempotencyKey).where(
            *(getattr(IdempotencyKey, name) == row[name] for name in ("api_key_id", "method", "path", "key"))
        )
    ).scalar_one()
    if found.created_at < current.now - timedelta(days=current.config.idempotency_days):
        session.execute(delete(IdempotencyKey).where(IdempotencyKey.id == found.id))
        session.expunge(found)
        _insert(session, row)
        return Claim(row["id"])
    if found.fingerprint != sameness:
        raise KeyReused()
    return _replay(found)


def _insert(session: Session, row: dict[str, Any]) -> bool:
    """Write the row, and tell whether nobody else had."""
    connection = session.connection()
    if connection.dialect.name == "sqlite":
        # The writer's lock is held: nobody else is at work.
        return connection.execute(_INSERT_SQLITE, row).first() is not None
    wait = int(current.config.idempotency_wait * 1000)
    connection.exec_driver_sql(f"SET LOCAL lock_timeout = {wait}")
    try:
        written = connection.execute(_INSERT_POSTGRESQL, row).first() is not None
    except sqlalchemy.exc.OperationalError as error:
        if getattr(error.orig, "sqlstate", None) == "55P03":
            raise RequestInProgress() from None
        raise
    connection.exec_driver_sql("SET LOCAL lock_timeout TO DEFAULT")
    return written


def take_out(session: Session, told: Mapping[UUID, Mapping[str, Any]]) -> None:
    """Take out of the kept answers what objects do not say any more.

    A repetition of the request gets its answer still, without what was taken out.

    Parameters
    ----------
    told : mapping of id to fields
        For each object what stands in the place of its fields' former values; nested as the fields are.
    """
    if not told:
        return
    by_id = {str(identifier): fields for identifier, fields in told.items()}
    kept = select(IdempotencyKey.id, IdempotencyKey.body).where(IdempotencyKey.body.is_not(None))
    less = []
    for row_id, body in session.execute(kept.execution_options(yield_per=200)):
        if body and any(identifier in body for identifier in by_id):
            tree = json.loads(body)
            if _taken_out(tree, by_id):
                less.append((row_id, json.dumps(tree, ensure_ascii=False, separators=(",", ":"))))
    for row_id, left in less:
        session.execute(update(IdempotencyKey).where(IdempotencyKey.id == row_id).values(body=left))


def _taken_out(tree: Any, by_id: Mapping[str, Mapping[str, Any]]) -> bool:
    """Change the tree, and tell whether it was."""
    changed = False
    if isinstance(tree, dict):
        fields = by_id.get(str(tree.get("id")))
        changed = fields is not None and _put(tree, fields)
    if isinstance(tree, (dict, list)):
        for below in tree.values() if isinstance(tree, dict) else tree:
            changed = _taken_out(below, by_id) or changed
    return changed


def _put(tree: dict[str, Any], fields: Mapping[str, Any]) -> bool:
    changed = False
    for name, value in fields.items():
        if isinstance(value, Mapping):
            changed = (isinstance(tree.get(name), dict) and _put(tree[name], value)) or changed
        elif name in tree and tree[name] != value:
            tree[name] = value
            changed = True
    return changed


def _replay(row: IdempotencyKey) -> Response:
    response = Response(row.body or b"", status=row.status)
    response.headers.pop("Content-Type", None)
    for name, value in (row.headers or {}).items():
        response.headers[name] = value
    response.headers["Idempotent-Replayed"] = "true"
    return response

"""Who changed what, when, from what to what; and what others may want to hear of.

Every change of a mapped object leaves a row in `audit_events` in the same transaction. Tables with
``info={"audited": False}`` are left out; columns with ``info={"personal": True}`` leave a keyed hash, columns
with ``info={"secret": True}`` nothing but the fact.
"""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime
from enum import Enum
from typing import Any, cast
from uuid import UUID

from sqlalchemy import Column, Table, bindparam, event, func, insert, inspect, select
from sqlalchemy.orm import Session

from .tables.base import Base, new_id
from .tables.operations import AuditEvent, DomainEvent

_AT_ONCE = 500

# Made once: building a statement takes longer than running it.
_TRAIL = insert(cast("Table", AuditEvent.__table__))
_EVENTS = cast("Table", DomainEvent.__table__)
_HAPPENED = insert(_EVENTS).values(
    sequence=select(func.coalesce(func.max(_EVENTS.c.sequence), 0) + 1)
    .where(_EVENTS.c.object_type == bindparam("same_type"), _EVENTS.c.object_id == bindparam("same_id"))
    .scalar_subquery()
)

# Kept by the mechanism itself; a line of the trail tells the same.
_UNTOLD = frozenset({"created_at", "updated_at", "version"})


def watch(sessions: type[Session]) -> None:
    """Keep the history of everything that sessions of this kind change."""
    event.listen(sessions, "before_flush", _before_flush)
    event.listen(sessions, "after_flush", _after_flush)


def _now(session: Session) -> datetime:
    return session.info.get("now") or datetime.now(UTC)


def _before_flush(session: Session, _context: Any, _instances: Any) -> None:
    now = _now(session)
    for row in session.new:
        for name in ("created_at", "updated_at"):
            if name in inspect(row).mapper.column_attrs and getattr(row, name) is None:
                setattr(row, name, now)
    for row in session.dirty:
        if "updated_at" in inspect(row).mapper.column_attrs and session.is_modified(row):
            row.updated_at = now


def _after_flush(session: Session, _context: Any) -> None:
    lines = []
    for row in session.new:
        lines.append(_line(session, row, "created"))
    for row in session.dirty:
        lines.append(_line(session, row, "changed"))
    for row in session.deleted:
        lines.append(_line(session, row, "deleted"))
    _add(session, [line for line in lines if line is not None])


def _add(session: Session, lines: list[dict[str, Any]]) -> None:
    """Keep lines for the end of the transaction; what can be undone before that is written at once."""
    session.info.setdefault("trail", []).extend(lines)
    if session.in_nested_transaction():
        write_trail(session)


def write_trail(session: Session) -> None:
    """Write the lines that this transaction has gathered, in one statement; before its commit."""
    lines = session.info.pop("trail", None)
    if lines:
        session.connection().execute(_TRAIL, lines)


def _line(session: Session, row: Any, action: str) -> dict[str, Any] | None:
    mapper = inspect(row).mapper
    table = mapper.local_table
    if not table.info.get("audited", True):
        return None
    before: dict[str, Any] = {}
    after: dict[str, Any] = {}
    for attribute in mapper.column_attrs:
        column = attribute.columns[0]
        if attribute.key in _UNTOLD:
            continue
        changes = inspect(row).attrs[attribute.key].history
        if action == "created":
            new = getattr(row, attribute.key)
            if new is not None:
                after[attribute.key] = _told(session, column, new)
        elif action == "deleted":
            old = changes.deleted[0] if changes.deleted else getattr(row, attribute.key)
            if old is not None:
                before[attribute.key] = _told(session, column, old)
        elif changes.has_changes():
            before[attribute.key] = _told(session, column, changes.deleted[0] if changes.deleted else None)
            after[attribute.key] = _told(session, column, changes.added[0] if changes.added else None)
    if action == "changed" and not after and not before:
        return None
    identity = inspect(row).identity or tuple(getattr(row, key.key) for key in mapper.primary_key)
    return _event(
        session,
        object_type=table.name,
        object_id="/".join(str(getattr(part, "value", part)) for part in identity),
        version=getattr(row, "version", None),
        action=action,
        before=before or None,
        after=after or None,
    )


def _event(session: Session, **members: Any) -> dict[str, Any]:
    actor = session.info.get("actor")
    return {
        "id": new_id(),
        "at": _now(session),
        "key_id": getattr(actor, "key_id", None),
        "technician_id": getattr(actor, "technician_id", None),
        "request_id": session.info.get("request_id"),
        **members,
    }


def _told(session: Session, column: Column[Any], value: Any) -> Any:
    if value is None:
        return None
    if column.info.get("secret"):
        return "…"
    if column.info.get("personal"):
        return keyed_hash(session, value)
    return _plain(value)


def keyed_hash(session: Session, value: Any) -> str:
    """Return what stands for a personal value in the trail: 16 hexadecimal digits, keyed with the secret."""
    secret = session.info.get("secret")
    if not secret:
        raise RuntimeError("personal data can be changed only in a session that carries the service's secret")
    text = value if isinstance(value, str) else json.dumps(_plain(value), sort_keys=True, ensure_ascii=False)
    return hmac.new(secret.encode(), text.encode(), hashlib.sha256).hexdigest()[:16]


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, dict):
        return {str(_plain(name)): _plain(entry) for name, entry in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [_plain(entry) for entry in value]
    return value


def record(
    session: Session,
    object_type: str,
    object_id: UUID | str,
    action: str,
    *,
    version: int | None = None,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> None:
    """Add a line to the trail by hand, for a statement that goes past the mapped objects.

    Parameters
    ----------
    object_type : str
        The table's name.
    action : str
        ``created``, ``changed`` or ``deleted``.
    before, after : dict, optional
        Columns and their values, and what else tells of the change, such as its reason.
    """
    columns = Base.metadata.tables[object_type].columns

    def told(values: dict[str, Any] | None) -> dict[str, Any] | None:
        if not values:
            return None
        return {
            name: _told(session, columns[name], value) if name in columns else _plain(value)
            for name, value in values.items()
        }

    line = _event(
        session,
        object_type=object_type,
        object_id=str(object_id),
        version=version,
        action=action,
        before=told(before),
        after=told(after),
    )
    _add(session, [line])


def emit(session: Session, type: str, obj: Any, **data: Any) -> UUID:  # noqa: A002
    """Tell that something happened to an object, in the transaction in which it happened.

    Parameters
    ----------
    type : str
        What happened, as ``object.happening``: ``job.moved``.
    obj : mapped object
        What it happened to; it must have an `id` and be flushed or new.
    **data
        Ids, states and versions; never names.

    Returns
    -------
    UUID
        The event's id.

    Notes
    -----
    The number in the sequence is one more than the object's last. Two writers of one object meet at the
    object's own version, or at the unique constraint of the sequence.
    """
    session.flush()
    object_type = type.split(".", 1)[0]
    details = {name: _plain(value) for name, value in data.items()}
    if getattr(obj, "version", None) is not None:
        details.setdefault("version", obj.version)
    event_id = new_id()
    happened = {
        "id": event_id,
        "at": _now(session),
        "type": type,
        "object_type": object_type,
        "object_id": obj.id,
        "data": details,
        "same_type": object_type,
        "same_id": obj.id,
    }
    session.connection().execute(_HAPPENED, happened)
    for call in _followers.get(type, ()):
        call(session, obj)
    return event_id


Follower = Callable[[Session, Any], None]
"""Hears of what happened to an object: `follower(session, obj)`."""

_followers: dict[str, list[Follower]] = {}


def follow(*types: str) -> Callable[[Follower], Follower]:
    """Make a function hear of events in the transaction in which they happen.

    For an area that notes what to do later; it does no work of its own there.

    Parameters
    ----------
    *types : str
        Such as ``job.moved``.
    """

    def register(call: Follower) -> Follower:
        for each in types:
            if call not in _followers.setdefault(each, []):
                _followers[each].append(call)
        return call

    return register


def emit_many(
    session: Session,
    type: str,  # noqa: A002
    happenings: Sequence[tuple[UUID, Mapping[str, Any]]],
) -> None:
    """Tell that the same happened to many objects, each once: `emit` in a few statements.

    Parameters
    ----------
    type : str
        What happened.
    happenings : sequence of (id, data)
        To which objects, with ids, states and versions. Nobody follows these.
    """
    object_type = type.split(".", 1)[0]
    at = _now(session)
    for start in range(0, len(happenings), _AT_ONCE):
        part = happenings[start : start + _AT_ONCE]
        found = session.execute(
            select(DomainEvent.object_id, func.max(DomainEvent.sequence))
            .where(
                DomainEvent.object_type == object_type,
                DomainEvent.object_id.in_([identifier for identifier, _ in part]),
            )
            .group_by(DomainEvent.object_id)
        )
        last = {row[0]: row[1] for row in found}
        session.execute(
            insert(DomainEvent),
            [
                {
                    "id": new_id(),
                    "at": at,
                    "type": type,
                    "object_type": object_type,
                    "object_id": identifier,
                    "sequence": last.get(identifier, 0) + 1,
                    "data": {name: _plain(value) for name, value in data.items()},
                }
                for identifier, data in part
            ],
        )

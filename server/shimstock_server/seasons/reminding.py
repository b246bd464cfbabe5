"""Bringing the open reminders to what is wanted, many at once; each change is noted and told."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import func, insert, select, update
from sqlalchemy.orm import Session

from shimstock_server.database.history import emit_many
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.seasons import Reminder, ReminderEvent
from shimstock_server.database.words import ReminderHappening, ReminderKind, ReminderState

from .sentences import sentence_of
from .wanted import Key, Wanted, Wishes

MOVED_BY = timedelta(days=1)
"""A due date that moves by less is left alone: the forecast does not know it better."""
AT_ONCE = 500
GONE = " (gone)"
_Happening = ReminderHappening


@dataclass
class _Changes:
    """What is to be written."""

    now: datetime
    new: list[dict[str, Any]] = field(default_factory=list)
    events: list[dict[str, Any]] = field(default_factory=list)
    told: dict[str, list[tuple[UUID, Mapping[str, Any]]]] = field(default_factory=lambda: defaultdict(list))

    def happened(self, reminder: Mapping[str, Any], what: _Happening, note: str | None = None) -> None:
        self.events.append(
            {
                "id": new_id(),
                "reminder_id": reminder["id"],
                "what": what,
                "due_at": reminder["due_at"],
                "note": note,
                "created_at": self.now,
            }
        )
        data = {
            "kind": reminder["kind"],
            "instrument": reminder["instrument_id"],
            "job": reminder["job_id"],
            "due_at": reminder["due_at"],
            "version": reminder["version"],
        }
        self.told[f"reminder.{what.value}"].append((reminder["id"], data))


def bring_up_to_date(
    session: Session, instrument_ids: Sequence[UUID], wishes: Wishes, *, now: datetime
) -> int:
    """Make, move and close the reminders of some instruments; return how many changed.

    An open reminder keeps its state as long as it stands on the same thing. When that is over it is done,
    where somebody did what it asked for, else cancelled.
    """
    changes = _Changes(now)
    open_ = _open(session, instrument_ids)
    for key, row in open_.items():
        wanted = wishes.wanted.get(key)
        if wanted is not None and wanted.basis == row["basis"]:
            _move(session, row, wanted, changes)
        else:
            _close(session, row, wishes, changes)
    answered = _answered(session, instrument_ids, wishes)
    for key, wanted in wishes.wanted.items():
        before = open_.get(key)
        if (before is None or before["basis"] != wanted.basis) and (*key, wanted.basis) not in answered:
            _make(key, wanted, changes)
    _write(session, changes)
    return len(changes.events)


def _open(session: Session, instrument_ids: Sequence[UUID]) -> dict[Key, dict[str, Any]]:
    columns = (
        Reminder.id, Reminder.kind, Reminder.instrument_id, Reminder.job_id, Reminder.basis, Reminder.due_at,
        Reminder.version, Reminder.state, Reminder.reason,
    )  # fmt: skip
    rows = session.execute(
        select(*columns)
        .where(Reminder.instrument_id.in_(instrument_ids), Reminder.closed_at.is_(None))
        .with_for_update()
    )
    return {(row.instrument_id, row.kind): dict(row._mapping) for row in rows}


def _answered(
    session: Session, instrument_ids: Sequence[UUID], wishes: Wishes
) -> set[tuple[UUID, ReminderKind, str]]:
    """Return what somebody has answered already: a reminder on the same basis is not made again."""
    bases = sorted({wanted.basis for wanted in wishes.wanted.values()})
    rows = session.execute(
        select(Reminder.instrument_id, Reminder.kind, Reminder.basis).where(
            Reminder.instrument_id.in_(instrument_ids),
            Reminder.basis.in_(bases),
            Reminder.closed_at.is_not(None),
        )
    )
    return {(row[0], row[1], row[2]) for row in rows}


def _make(key: Key, wanted: Wanted, changes: _Changes) -> None:
    instrument_id, kind = key
    row = {
        "id": new_id(),
        "kind": kind,
        "state": ReminderState.OPEN,
        "instrument_id": instrument_id,
        "job_id": wanted.job_id,
        "basis": wanted.basis,
        "due_at": wanted.due_at,
        "all_day": wanted.all_day,
        "reason": wanted.reason,
        "version": 1,
        "created_at": changes.now,
        "updated_at": changes.now,
    }
    changes.new.append(row)
    changes.happened(row, _Happening.MADE)


def _move(session: Session, row: dict[str, Any], wanted: Wanted, changes: _Changes) -> None:
    if abs(wanted.due_at - row["due_at"]) < MOVED_BY and (wanted.all_day or wanted.due_at == row["due_at"]):
        _explain_anew(session, row, wanted, changes)
        return
    row |= {"due_at": wanted.due_at, "version": row["version"] + 1}
    session.execute(
        update(Reminder)
        .where(Reminder.id == row["id"], Reminder.version == row["version"] - 1)
        .values(
            due_at=wanted.due_at,
            reason=wanted.reason,
            told_due_at=None,
            version=row["version"],
            updated_at=changes.now,
        )
        .execution_options(synchronize_session=False)
    )
    changes.happened(row, _Happening.MOVED)


def _explain_anew(session: Session, row: dict[str, Any], wanted: Wanted, changes: _Changes) -> None:
    """Bring the explanation up to date where the date stands and its sentence would not be true any more."""
    if row["reason"] == wanted.reason:
        return
    before, now = (sentence_of(row["kind"].value, each, "mm") for each in (row["reason"], wanted.reason))
    if before == now:
        return
    session.execute(
        update(Reminder)
        .where(Reminder.id == row["id"], Reminder.version == row["version"])
        .values(reason=wanted.reason, version=row["version"] + 1, updated_at=changes.now)
        .execution_options(synchronize_session=False)
    )


def _close(session: Session, row: dict[str, Any], wishes: Wishes, changes: _Changes) -> None:
    done, sheet_id, note = _outcome(row, wishes)
    row["version"] += 1
    session.execute(
        update(Reminder)
        .where(Reminder.id == row["id"], Reminder.version == row["version"] - 1)
        .values(
            state=ReminderState.DONE if done else ReminderState.CANCELLED,
            closed_at=changes.now,
            # What went away by itself may come back; what somebody has answered does not.
            basis=row["basis"] if done else row["basis"] + GONE,
            snoozed_until=None,
            sheet_id=sheet_id,
            version=row["version"],
            updated_at=changes.now,
        )
        .execution_options(synchronize_session=False)
    )
    changes.happened(row, _Happening.DONE if done else _Happening.CANCELLED, note)


def _outcome(row: Mapping[str, Any], wishes: Wishes) -> tuple[bool, UUID | None, str]:
    """Whether what a reminder asked for was done, by which sheet, and how it ended in words."""
    kind = row["kind"]
    if kind is ReminderKind.SEASONAL:
        end = wishes.ends.get(row["instrument_id"])
        if end is not None and end[0] != row["basis"]:
            return True, end[1], "read again"
        return False, None, "no recheck is called for any more" if end else "work has begun since the reading"
    if kind is ReminderKind.STRINGS:
        if (row["instrument_id"], kind) in wishes.wanted:
            return True, None, "new strings were fitted"
        return False, None, "nobody knows any more when the strings were fitted, or wants to"
    if wishes.looked.get(row["basis"]):
        return True, None, "looked at"
    return False, None, "the job has gone on"


def _write(session: Session, changes: _Changes) -> None:
    for start in range(0, len(changes.new), AT_ONCE):
        session.execute(insert(Reminder), changes.new[start : start + AT_ONCE])
    numbers = _numbers(session, {event["reminder_id"] for event in changes.events})
    for event in changes.events:
        numbers[event["reminder_id"]] = event["sequence"] = numbers.get(event["reminder_id"], 0) + 1
    for start in range(0, len(changes.events), AT_ONCE):
        session.execute(insert(ReminderEvent), changes.events[start : start + AT_ONCE])
    for type_, happenings in changes.told.items():
        emit_many(session, type_, happenings)


def _numbers(session: Session, ids: set[UUID]) -> dict[UUID, int]:
    found: dict[UUID, int] = {}
    listed = sorted(ids)
    for start in range(0, len(listed), AT_ONCE):
        rows = session.execute(
            select(ReminderEvent.reminder_id, func.max(ReminderEvent.sequence))
            .where(ReminderEvent.reminder_id.in_(listed[start : start + AT_ONCE]))
            .group_by(ReminderEvent.reminder_id)
        )
        found |= {row[0]: row[1] for row in rows}
    return found


def tell_what_is_due(session: Session, *, now: datetime) -> int:
    """Tell of the reminders that have come due, and wake those that were snoozed until now."""
    columns = (
        Reminder.id, Reminder.kind, Reminder.instrument_id, Reminder.job_id, Reminder.due_at,
        Reminder.version, Reminder.state,
    )  # fmt: skip
    rows = session.execute(
        select(*columns)
        .where(
            Reminder.closed_at.is_(None),
            func.coalesce(Reminder.snoozed_until, Reminder.due_at) <= now,
            Reminder.told_due_at.is_(None) | Reminder.snoozed_until.is_not(None),
        )
        .order_by(Reminder.due_at, Reminder.id)
        .limit(AT_ONCE)
        .with_for_update()
    ).all()
    changes = _Changes(now)
    for found in rows:
        row = dict(found._mapping)
        row["version"] += 1
        woken = row["state"] is ReminderState.SNOOZED
        session.execute(
            update(Reminder)
            .where(Reminder.id == row["id"], Reminder.version == row["version"] - 1)
            .values(
                told_due_at=now,
                snoozed_until=None,
                state=ReminderState.OPEN if woken else row["state"],
                version=row["version"],
                updated_at=now,
            )
            .execution_options(synchronize_session=False)
        )
        changes.happened(row, _Happening.DUE)
    _write(session, changes)
    return len(rows)

"""What has to be worked out again: noted where something changes, taken by the worker."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from typing import Any

from sqlalchemy import delete, or_, select
from sqlalchemy.dialects.postgresql import insert as postgresql_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.orm import Session

from shimstock_server.database.history import follow
from shimstock_server.database.tables.catalogue import InstrumentModel, SetupSpec
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import SeasonMark

AT_ONCE = 500


def mark(session: Session, what: str) -> None:
    """Note that something changed: an instrument, a model, a kind, a room, or all of them."""
    mark_all(session, [what])


def mark_all(session: Session, whats: Sequence[str]) -> None:
    """Note that several things changed."""
    session.flush()
    now = session.info.get("now") or datetime.now(UTC)
    statement = _noting(session.get_bind().dialect.name)
    # in one order, so that two who mark the same do not wait for each other
    rows = [{"what": what, "marked_at": now, "turn": 1} for what in sorted(set(whats))]
    for start in range(0, len(rows), AT_ONCE):
        session.execute(statement, rows[start : start + AT_ONCE])


@cache
def _noting(dialect: str) -> Any:
    """Return the statement; building it takes longer than running it."""
    insert: Any = sqlite_insert if dialect == "sqlite" else postgresql_insert
    statement = insert(SeasonMark)
    return statement.on_conflict_do_update(
        index_elements=[SeasonMark.what],
        set_={"marked_at": statement.excluded.marked_at, "turn": SeasonMark.turn + 1},
    )


def standing_marks(session: Session, *beginnings: str, limit: int | None = None) -> dict[str, int]:
    """Return what is marked and begins with one of these, each with its turn, the newest first."""
    rows = session.execute(
        select(SeasonMark.what, SeasonMark.turn)
        .where(or_(*(SeasonMark.what.startswith(each) for each in beginnings)))
        .order_by(SeasonMark.marked_at.desc(), SeasonMark.what)
        .limit(limit)
    )
    return {row.what: row.turn for row in rows}


def clear_marks(session: Session, seen: Mapping[str, int]) -> None:
    """Take back the marks that were worked off; one that was set anew meanwhile stays."""
    turns: defaultdict[int, list[str]] = defaultdict(list)
    for what, turn in seen.items():
        turns[turn].append(what)
    for turn, whats in turns.items():
        for start in range(0, len(whats), AT_ONCE):
            part = sorted(whats[start : start + AT_ONCE])
            session.execute(delete(SeasonMark).where(SeasonMark.turn == turn, SeasonMark.what.in_(part)))


@follow("job.readings", "job.adjusted", "job.adjustment-withdrawn", "job.moved")
def _job_changed(session: Session, job: Job) -> None:
    if job.instrument_id is not None:
        mark(session, f"instrument:{job.instrument_id}")


@follow("job.readings")
def _readings_came(session: Session, _job: Job) -> None:
    mark(session, "learning")


@follow("instrument.created", "instrument.changed")
def _instrument_changed(session: Session, row: Instrument) -> None:
    mark(session, f"instrument:{row.id}")


@follow("instrument-model.changed")
def _model_changed(session: Session, row: InstrumentModel) -> None:
    mark(session, f"model:{row.id}")


@follow("shop.changed")
def _shop_changed(session: Session, _row: Any) -> None:
    mark(session, "all")


@follow("setup-spec.changed")
def _spec_changed(session: Session, row: SetupSpec) -> None:
    if row.kind is not None:
        mark(session, f"kind:{row.kind.value}")
    elif row.model_id is not None:
        mark(session, f"model:{row.model_id}")
    elif row.instrument_id is not None:
        mark(session, f"instrument:{row.instrument_id}")
    elif row.job_id is not None:
        _job_changed(session, session.get_one(Job, row.job_id))

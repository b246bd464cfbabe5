"""What has to be worked out again: noted where something changes, taken by the worker."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import delete, select
from sqlalchemy.dialects.postgresql import insert as postgresql_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.orm import Session

from shimstock_server.database.history import follow
from shimstock_server.database.tables.catalogue import InstrumentModel, SetupSpec
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.tables.seasons import SeasonMark


def mark(session: Session, what: str) -> None:
    """Note that something changed: an instrument, a model, a kind, a room, or all of them."""
    session.flush()
    now = session.info.get("now") or datetime.now(UTC)
    insert: Any = sqlite_insert if session.get_bind().dialect.name == "sqlite" else postgresql_insert
    statement = insert(SeasonMark).values(what=what, marked_at=now, turn=1)
    session.execute(
        statement.on_conflict_do_update(
            index_elements=[SeasonMark.what], set_={"marked_at": now, "turn": SeasonMark.turn + 1}
        )
    )


def standing_marks(session: Session) -> dict[str, int]:
    """Return what is marked, each with its turn."""
    return {row.what: row.turn for row in session.execute(select(SeasonMark.what, SeasonMark.turn))}


def clear_marks(session: Session, seen: dict[str, int]) -> None:
    """Take back the marks that were worked off; one that was set anew meanwhile stays."""
    for what, turn in seen.items():
        session.execute(delete(SeasonMark).where(SeasonMark.what == what, SeasonMark.turn == turn))


@follow("job.readings", "job.adjusted", "job.moved")
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

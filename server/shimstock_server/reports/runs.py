"""Long reports: the worker makes them model by model, so that nobody waits for a request."""

from __future__ import annotations

import logging
from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_server.clock import Clock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.learning import ReportRun, ReportRunPart
from shimstock_server.database.words import Kind, ReportState
from shimstock_server.shop import settings

from .content import Period, model_report
from .telling import to_keep

_log = logging.getLogger(__name__)

UNDER_WAY = (ReportState.WAITING, ReportState.RUNNING)


def show_run(run: ReportRun) -> dict[str, Any]:
    """How far a run is, as it is answered."""
    names = ("id", "state", "done", "total", "created_at", "ended_at", "error")
    return {name: getattr(run, name) for name in names} | {
        "maker": run.wish["maker"],
        "kind": run.wish["kind"],
        "period": {
            "first": date.fromisoformat(run.wish["first"]),
            "last": date.fromisoformat(run.wish["last"]),
            "zone": run.wish["zone"],
        },
    }


def begin_run(session: Session, period: Period, *, maker: str | None, kind: Kind | None) -> ReportRun:
    """Note that a long report is wanted."""
    run = ReportRun(
        state=ReportState.WAITING,
        done=0,
        wish={
            "maker": maker,
            "kind": None if kind is None else kind.value,
            "first": period.first.isoformat(),
            "last": period.last.isoformat(),
            "zone": period.zone,
        },
    )
    session.add(run)
    session.flush()
    return run


def make_long_reports(database: Database, config: Config, clock: Clock) -> int:
    """Make what is waiting, the oldest first; return how many models were done.

    A worker that is killed leaves the models that it has done; another goes on from there.
    """
    info = {"now": clock.now(), "secret": config.secret}
    done = 0
    while (run_id := _next(database, info)) is not None:
        try:
            while _one_more(database, info, run_id):
                done += 1
        except Exception:
            _log.exception("a long report failed")
            _fail(database, info, run_id)
    return done


def _next(database: Database, info: dict[str, Any]) -> UUID | None:
    with database.read(info) as session:
        return session.scalar(
            select(ReportRun.id).where(ReportRun.state.in_(UNDER_WAY)).order_by(ReportRun.id).limit(1)
        )


def _one_more(database: Database, info: dict[str, Any], run_id: UUID) -> bool:
    """Make the next model's part; False when the run has come to its end, or another worker took it."""
    with database.read(info) as session:
        run = session.get_one(ReportRun, run_id)
        number = run.done
        models = _models(session, run.wish)
        content = None
        if number < len(models):
            model = session.get_one(InstrumentModel, models[number])
            wish = run.wish
            period = Period(date.fromisoformat(wish["first"]), date.fromisoformat(wish["last"]), wish["zone"])
            content = to_keep(model_report(session, model, settings(session), period))
    with database.write(info) as session:
        run = session.get_one(ReportRun, run_id, with_for_update=True)
        if run.done != number or run.state not in UNDER_WAY:
            return False
        run.total = len(models)
        if content is None:
            run.state, run.ended_at = ReportState.DONE, info["now"]
            return False
        session.add(ReportRunPart(run_id=run_id, number=number, model_id=models[number], content=content))
        run.state, run.done = ReportState.RUNNING, number + 1
        return True


def _models(session: Session, wish: dict[str, Any]) -> list[UUID]:
    wanted = select(InstrumentModel.id).order_by(InstrumentModel.created_at, InstrumentModel.id)
    if wish["maker"] is not None:
        wanted = wanted.where(InstrumentModel.maker == wish["maker"])
    if wish["kind"] is not None:
        wanted = wanted.where(InstrumentModel.kind == Kind(wish["kind"]))
    return list(session.scalars(wanted))


def _fail(database: Database, info: dict[str, Any], run_id: UUID) -> None:
    with database.write(info) as session:
        run = session.get_one(ReportRun, run_id)
        run.state, run.ended_at = ReportState.FAILED, info["now"]
        run.error = "the report could not be made; the service's log tells why"

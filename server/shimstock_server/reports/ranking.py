"""All models by what they cost the shop: bench minutes at the shop's rate, and parts."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Integer, cast, func, select
from sqlalchemy.orm import Session

from shimstock_server.database.tables.catalogue import InstrumentModel
from shimstock_server.database.tables.learning import LearningMark, ReportJob
from shimstock_server.database.tables.shop import Shop

from .content import Period, cost, share


def ranked_models(
    session: Session, shop: Shop, period: Period, *, maker: str | None, kind: Any | None, limit: int
) -> list[dict[str, Any]]:
    """Return the models with jobs done in the period, the dearest a job first.

    Without a shop rate they are ranked by bench minutes.
    """
    sums = {
        name: func.sum(column)
        for name, column in {
            "minutes": ReportJob.minutes,
            "hours": ReportJob.turnaround_hours,
            "parts": ReportJob.parts_price,
            "back": cast(ReportJob.came_back, Integer),
            "received_in": ReportJob.received_in,
            "received_all": ReportJob.received_in + ReportJob.received_close + ReportJob.received_out,
            "returned_in": ReportJob.returned_in,
            "returned_all": ReportJob.returned_in + ReportJob.returned_close + ReportJob.returned_out,
        }.items()
    }
    counted = (
        select(
            ReportJob.model_id,
            func.count().label("jobs"),
            *(total.label(name) for name, total in sums.items()),
        )
        .where(ReportJob.day.between(period.first, period.last))
        .group_by(ReportJob.model_id)
        .subquery()
    )
    wanted = select(InstrumentModel.maker, InstrumentModel.name, InstrumentModel.kind, counted).join(
        counted, counted.c.model_id == InstrumentModel.id
    )
    if maker is not None:
        wanted = wanted.where(InstrumentModel.maker == maker)
    if kind is not None:
        wanted = wanted.where(InstrumentModel.kind == kind)
    rows = [_told(row, shop) for row in session.execute(wanted)]
    rows.sort(
        key=lambda row: (
            -(row["cost_mean"] if row["cost_mean"] is not None else row["bench_minutes_mean"]),
            row["maker"],
            row["name"],
        )
    )
    return [row | {"rank": number} for number, row in enumerate(rows[:limit], start=1)]


def _told(row: Any, shop: Shop) -> dict[str, Any]:
    minutes, parts = float(row.minutes) / row.jobs, float(row.parts) / row.jobs
    return {
        "model_id": row.model_id,
        "maker": row.maker,
        "name": row.name,
        "kind": row.kind,
        "jobs": row.jobs,
        "came_back": int(row.back),
        "bench_minutes_mean": minutes,
        "bench_minutes_total": int(row.minutes),
        "turnaround_hours_mean": float(row.hours) / row.jobs,
        "parts_mean": parts,
        "cost_mean": cost(minutes, parts, shop.shop_rate),
        "received_in_spec": share(int(row.received_in), int(row.received_all)),
        "returned_in_spec": share(int(row.returned_in), int(row.returned_all)),
    }


def waiting_jobs(session: Session) -> int:
    """How many jobs changed since they were counted."""
    return int(session.scalar(select(func.count(LearningMark.job_id.distinct()))) or 0)

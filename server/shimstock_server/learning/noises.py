"""How much more a tool scatters on a bench than is declared: learned from the errors of forecasts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any
from uuid import UUID

from sqlalchemy import delete, func, insert, select
from sqlalchemy.orm import Session

from shimstock_calc.belief.calibration import Error, noise_factor
from shimstock_server.database.tables.bench import Reading, ReadingSheet
from shimstock_server.database.tables.learning import ReadingForecast, ToolNoise
from shimstock_server.database.tables.shop import Bench, Tool

from .forecasts import AWAY, standing_forecasts

NEWEST = 500
"""Readings of a tool on a bench that its factor is learned from: it bounds the work, and tools wear."""

Where = tuple[UUID, UUID]
"""A bench and a tool."""


def learned_noises(session: Session, where: Iterable[Where]) -> list[dict[str, Any]]:
    """Work out how much these tools scatter on these benches, as rows to keep; writes nothing."""
    found = []
    for bench_id, tool_id in sorted(where, key=str):
        rows = session.execute(
            standing_forecasts(
                AWAY,
                ReadingForecast.level,
                Reading.repeatability,
                func.coalesce(Reading.resolution, 0.0),
                ReadingForecast.own,
                ReadingForecast.noise,
            )
            .where(
                ReadingSheet.bench_id == bench_id,
                Reading.tool_id == tool_id,
                Reading.repeatability > 0.0,
                # what a study has measured is not what is declared
                Reading.repeatability_source.is_(None),
            )
            .order_by(ReadingSheet.taken_at.desc(), ReadingSheet.id.desc(), Reading.number.desc())
            .limit(NEWEST)
        )
        errors = [Error(*row) for row in rows]
        found.append(
            {
                "bench_id": bench_id,
                "tool_id": tool_id,
                "factor": round(noise_factor(errors), 6),
                "readings": len(errors),
            }
        )
    return found


def where_read(session: Session, job_ids: Sequence[UUID] | None = None) -> set[Where]:
    """Benches and tools with which some jobs were read, or all."""
    wanted = (
        select(ReadingSheet.bench_id, Reading.tool_id)
        .join(Reading, Reading.sheet_id == ReadingSheet.id)
        .where(ReadingSheet.bench_id.is_not(None), Reading.tool_id.is_not(None))
        .distinct()
    )
    if job_ids is not None:
        wanted = wanted.where(ReadingSheet.job_id.in_(job_ids))
    return {(row.bench_id, row.tool_id) for row in session.execute(wanted)}


def keep_noises(session: Session, rows: Sequence[dict[str, Any]]) -> None:
    """Put what was learned in the place of what was kept."""
    now = session.info["now"]
    for row in rows:
        alike = (ToolNoise.bench_id == row["bench_id"], ToolNoise.tool_id == row["tool_id"])
        known = session.execute(select(ToolNoise.factor, ToolNoise.readings).where(*alike)).first()
        if known is not None and tuple(known) == (row["factor"], row["readings"]):
            continue
        session.execute(delete(ToolNoise).where(*alike))
        if row["readings"]:
            session.execute(insert(ToolNoise), [{**row, "learned_at": now}])


def noises_now(session: Session) -> dict[str, Any]:
    """Noise factors as a job keeps them, by `bench/tool`; one that is missing is 1."""
    rows = session.execute(select(ToolNoise.bench_id, ToolNoise.tool_id, ToolNoise.factor))
    return {f"{row.bench_id}/{row.tool_id}": row.factor for row in rows if row.factor != 1.0}


def told_noises(session: Session) -> list[dict[str, Any]]:
    """How much each tool in use scatters on each bench in use, in words."""
    rows = session.execute(
        select(ToolNoise, Bench.name.label("bench"), Tool.name.label("tool"))
        .join(Bench, Bench.id == ToolNoise.bench_id)
        .join(Tool, Tool.id == ToolNoise.tool_id)
        .where(Bench.active, Tool.active)
        .order_by(Bench.name, Bench.id, Tool.name, Tool.id)
    )
    return [
        {
            "bench_id": row.ToolNoise.bench_id,
            "bench": row.bench,
            "tool_id": row.ToolNoise.tool_id,
            "tool": row.tool,
            "factor": row.ToolNoise.factor,
            "readings": row.ToolNoise.readings,
            "words": _words(row.tool, row.bench, row.ToolNoise),
        }
        for row in rows
    ]


def _words(tool: str, bench: str, noise: ToolNoise) -> str:
    count = f"({noise.readings} reading{'' if noise.readings == 1 else 's'})"
    times = f"{noise.factor:.1f}"
    told = "as declared" if times == "1.0" else f"{times} times what is declared"
    return f"{tool} at {bench}: scatter {told} {count}"

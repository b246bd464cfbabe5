"""What is known of the tools at benches: by how much they read too high, how much more they scatter."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.plan import model as plan
from shimstock_server.database.tables.learning import JobPrior
from shimstock_server.database.words import Quantity

from .noises import noises_now
from .offsets import Place, learned_offsets
from .parts import in_parts


@dataclass(frozen=True)
class _Known:
    """What a job began with."""

    offsets: Mapping[Place, plan.BenchOffset] = field(default_factory=dict)
    noises: Mapping[str, float] = field(default_factory=dict)
    """Factors by `bench/tool`; one that is missing is 1."""


@dataclass(frozen=True)
class BenchTools:
    """What was known of the benches' tools when each job had its first reading.

    It is part of the plan's input, and so of its digest.
    """

    of_job: Mapping[UUID | None, _Known] = field(default_factory=dict)

    def offset(
        self, job_id: UUID | None, bench_id: UUID | None, tool_id: UUID | None, quantity: Quantity
    ) -> plan.BenchOffset | None:
        """What is known of a reading's bench and tool; None = nothing, so nothing is taken off."""
        found = self.of_job.get(job_id)
        if found is None or bench_id is None:
            return None
        return found.offsets.get(Place(bench_id, tool_id, quantity))

    def noise(self, job_id: UUID | None, bench_id: UUID | None, tool_id: UUID | None) -> float:
        """How much more the tool scatters there than is declared [-]."""
        found = self.of_job.get(job_id)
        return 1.0 if found is None else float(found.noises.get(f"{bench_id}/{tool_id}", 1.0))

    def beside(self, bench_id: UUID, tools: Mapping[UUID, plan.BenchOffset]) -> BenchTools:
        """These, and what a request says of tools of its own, for readings that belong to no job."""
        known = self.of_job.get(None, _Known())
        own = {
            Place(bench_id, tool_id, quantity): offset
            for tool_id, offset in tools.items()
            for quantity in Quantity
        }
        return BenchTools({**self.of_job, None: _Known({**known.offsets, **own}, known.noises)})


def kept_tools(session: Session, job_ids: Collection[UUID]) -> BenchTools:
    """What some jobs began with; later studies, checks and forecasts change nothing of it."""
    found = {}
    for some in in_parts(job_ids):
        rows = session.execute(
            select(JobPrior.job_id, JobPrior.benches, JobPrior.noise).where(JobPrior.job_id.in_(some))
        )
        found.update({row.job_id: _Known(_by_place(row.benches or ()), row.noise or {}) for row in rows})
    return BenchTools(found)


def present_tools(session: Session) -> BenchTools:
    """What is known now, for readings that belong to no job."""
    return BenchTools({None: _Known(_by_place(learned_offsets(session)), noises_now(session))})


def _by_place(rows: Iterable[Mapping[str, Any]]) -> dict[Place, plan.BenchOffset]:
    return {
        Place(
            UUID(row["bench_id"]),
            None if row["tool_id"] is None else UUID(row["tool_id"]),
            Quantity(row["quantity"]),
        ): plan.BenchOffset(**{name: row[name] for name in plan.BenchOffset.__dataclass_fields__})
        for row in rows
    }

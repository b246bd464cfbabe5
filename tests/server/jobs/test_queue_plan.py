"""Ten thousand finished jobs do not slow the claim: both databases walk an index and sort nothing."""

from __future__ import annotations

import re
import time
from datetime import date
from typing import Any
from uuid import uuid4

from sqlalchemy import event, select, text

from shimstock_server.database.engine import WRITES
from shimstock_server.database.session import Database
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.words import JobState, Skill
from shimstock_server.jobs.offer import take_first_offered
from tests.server.clients import Client
from tests.server.conftest import NOON
from tests.server.workshop import Workshop

from . import bulk
from .test_moves import claim_next

FINISHED = 10_000


def plan(database: Database, missing: list[Skill]) -> str:
    """How the database means to run the claim's own statement."""
    plans: list[str] = []
    explain = "EXPLAIN QUERY PLAN " if database.is_sqlite else "EXPLAIN "

    def look(_c: Any, cursor: Any, sql: str, values: Any, *_rest: Any) -> None:
        if sql.startswith("UPDATE jobs"):
            cursor.execute(explain + sql, values)
            plans.append("\n".join(str(row[-1]) for row in cursor.fetchall()))

    event.listen(database.engine, "before_cursor_execute", look)
    with database.write() as session:
        take_first_offered(session, technician_id=uuid4(), lacking=missing, claim_id=uuid4(), move_id=uuid4(),
                           today=date(2026, 3, 2), now=NOON)  # fmt: skip
        session.rollback()
    event.remove(database.engine, "before_cursor_execute", look)
    (told,) = plans
    return told


def analyze(database: Database) -> None:
    """Let the database look at its tables, as it does by itself from time to time."""
    with database.engine.connect() as connection:
        connection.execution_options(isolation_level="AUTOCOMMIT", **{WRITES: True}).execute(text("ANALYZE"))


def check_plan(database: Database) -> None:
    """Every rank of the queue walks its own index, whatever skills are missing."""
    if not database.is_sqlite:  # SQLite's plan must be right without: nobody analyses a small shop's file
        analyze(database)
    for missing in ([], [Skill.BASS, Skill.NYLON]):
        told = plan(database, missing)
        for index in ("ix_jobs_settling", "ix_jobs_queued_promised", "ix_jobs_queued"):
            assert re.search(rf"\b{index}\b", told), told
        sorts = r"TEMP B-TREE|\bSort\b|Seq Scan on jobs|SCAN jobs(_\d)?$"
        assert not re.search(sorts, told, re.MULTILINE), told


def test_finished_jobs_do_not_slow_the_claim(
    workshop: Workshop, bench_client: Client, database: Database
) -> None:
    shop = workshop.manager.get("/v1/shop").get_json()
    workshop.manager.patch("/v1/shop", json={"claims_per_technician": 50}, etag=f'"{shop["version"]}.mm"')
    bulk.fill(database, workshop, queued=16, finished=0)
    claim_next(bench_client)
    alone = _seconds(bench_client)
    bulk.fill(database, workshop, queued=0, finished=FINISHED)
    check_plan(database)  # of an empty queue, a usual one, and one that grew over everybody's head
    bulk.fill(database, workshop, queued=40, finished=0)
    check_plan(database)
    crowded = _seconds(bench_client)
    assert crowded < 3 * alone  # a scan of the table would take several times as long
    bulk.fill(database, workshop, queued=2000, finished=0)
    check_plan(database)
    with database.read() as session:
        assert len(session.scalars(select(Job.id).where(Job.state == JobState.ON_BENCH)).all()) == 31


def _seconds(client: Client) -> float:
    """The least time that a claim took of fifteen: what it needs when nothing else is going on."""
    took = []
    for _ in range(15):
        began = time.perf_counter()
        claim_next(client)
        took.append(time.perf_counter() - began)
    return min(took)

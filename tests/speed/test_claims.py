"""Benches take what is in the queue: each job once, none lost, nobody starves; beside plain SQL.

The deep run has sixteen benches and five thousand jobs, as the published figures were measured.
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from statistics import quantiles
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import func, select

from shimstock_server.database.session import Database
from shimstock_server.database.tables.jobs import Claim, Job, JobMove
from shimstock_server.database.tables.shop import Technician
from shimstock_server.database.words import JobState
from tests.depth import amount
from tests.postgresql import plain
from tests.server.clients import Client
from tests.server.conftest import SECRET, Staff
from tests.server.jobs import bulk
from tests.server.workshop import set_up
from tests.waiting import HANG, wait_until

pytestmark = [pytest.mark.speed, pytest.mark.long]

PROCESSES, JOBS, FINISHED = amount((6, 300, 2_000), deep=(16, 5_000, 10_000))
ALLOWED = 50
HANDS = 8
"""Technicians of each process: a technician holds 50 jobs at the most."""
CLAIMERS = Path(__file__).with_name("claimers.py")


@pytest.fixture
def service(database: Database, staff: Staff, database_url: str) -> Iterator[int]:
    """The service as it runs in a shop, two workers of four threads, on a port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    environment = os.environ | {
        "SHIMSTOCK_SECRET": SECRET, "SHIMSTOCK_DATABASE_URL": database_url,
        "SHIMSTOCK_RATE_PER_MINUTE": "0", "SHIMSTOCK_LOG_LEVEL": "ERROR",
    }  # fmt: skip
    command = [sys.executable, "-c", "from shimstock_server.operations.entry import main; main()", "serve",
               "--bind", f"127.0.0.1:{port}", "--workers", "2", "--threads", "4"]  # fmt: skip
    with subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL) as process:
        try:
            _wait_for(f"http://127.0.0.1:{port}/readyz")
            yield port
        finally:
            process.terminate()


def _wait_for(address: str) -> None:
    def answers() -> bool:
        with suppress(OSError), urllib.request.urlopen(address, timeout=HANG):
            return True
        return False

    wait_until(answers, lambda: "the service does not come up")


def technicians(database: Database, count: int) -> list[UUID]:
    """Hire people."""
    with database.write({"secret": SECRET}) as session:
        people = [Technician(name=f"Technician {n:03}", active=True, shifts=[]) for n in range(count)]
        session.add_all(people)
        session.flush()
        return [person.id for person in people]


def run(orders: list[dict[str, Any]]) -> tuple[list[dict[str, Any]], float]:
    """Let one process work at each order, and return what they got and how long it took."""
    processes = [
        subprocess.Popen([sys.executable, str(CLAIMERS)], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        for _ in orders
    ]
    began = time.perf_counter()
    for process, order in zip(processes, orders, strict=True):
        assert process.stdin is not None
        process.stdin.write(json.dumps(order).encode())
        process.stdin.close()
    results = []
    for process in processes:
        with process:
            assert process.stdout is not None
            results.append(json.loads(process.stdout.read()))
    return results, time.perf_counter() - began


def tell(what: str, results: list[dict[str, Any]], seconds: float) -> str:
    """Say in a line how it went."""
    took = sorted(second for result in results for second in result["took"])
    shares = sorted(len(result["got"]) for result in results)
    percentiles = quantiles(took, n=100)
    return (
        f"{what}: {sum(shares)} claims in {seconds:.1f} s = {sum(shares) / seconds:.0f}/s, "
        f"p50 {percentiles[49] * 1000:.0f} ms, p99 {percentiles[98] * 1000:.0f} ms, "
        f"longest {took[-1] * 1000:.0f} ms, each process {shares[0]} to {shares[-1]}"
    )


def test_many_processes_take_every_job_once(
    client: Client,
    database: Database,
    staff: Staff,
    service: int,
    figure: Callable[[str], None],
) -> None:
    shop = set_up(client)
    settings = client.get("/v1/shop").get_json()
    allowed = client.patch(
        "/v1/shop", json={"claims_per_technician": ALLOWED}, etag=f'"{settings["version"]}.mm"'
    )
    assert allowed.status_code == 200
    queued = bulk.fill(database, shop, queued=JOBS, finished=FINISHED)
    people = technicians(database, PROCESSES * HANDS)
    results, seconds = run(
        [
            {
                "how": "http",
                "port": service,
                "token": staff.tokens["bench"],
                "technicians": [str(person) for person in people[n::PROCESSES]],
            }
            for n in range(PROCESSES)
        ]
    )
    name = "SQLite" if database.is_sqlite else "PostgreSQL"
    figure(tell(f"{name}, HTTP, 2 workers of 4 threads", results, seconds))
    got = Counter(job for result in results for job in result["got"])
    assert got == Counter(str(job) for job in queued), "each job once, and none is lost"
    assert {status for result in results for status in result["answers"]} <= {"200", "204", "409"}
    shares = [len(result["got"]) for result in results]
    assert min(shares) >= JOBS / PROCESSES / 3, f"a process starved: {shares}"
    longest = max(second for result in results for second in result["took"])
    assert longest < max(5.0, seconds / 3), "a request starved"
    with database.read() as session:
        assert session.scalar(_count(Job, Job.state == JobState.ON_BENCH)) == JOBS
        assert session.scalar(_count(Claim, Claim.ended_at.is_(None))) == JOBS
        assert session.scalar(_count(JobMove, JobMove.to_state == JobState.ON_BENCH)) == JOBS
        most = select(func.count()).select_from(Claim).group_by(Claim.technician_id)
        assert max(session.scalars(most)) <= ALLOWED
    again = bulk.fill(database, shop, queued=JOBS, finished=0)
    engine = database.engine
    where = str(engine.url.database) if database.is_sqlite else plain(engine.url)
    order = {"how": "sql", "sqlite": database.is_sqlite, "database": where,
             "now": "2026-03-02T12:00:00.000000Z"}  # fmt: skip
    results, seconds = run([order | {"technicians": [str(person)]} for person in people[:PROCESSES]])
    figure(tell(f"{name}, plain SQL, {PROCESSES} connections", results, seconds))
    taken = [UUID(job) for result in results for job in result["got"]]
    assert Counter(taken) == Counter(again)


def _count(table: Any, *where: Any) -> Any:
    return select(func.count()).select_from(table).where(*where)

"""One bench that takes jobs until there are none: over HTTP, or by plain SQL. Run as a program of its own.

Reads its orders as JSON from the standard input, and writes what it got to the standard output.
"""

from __future__ import annotations

import http.client
import json
import sqlite3
import sys
import time
import uuid
from typing import Any

OFFER = """
    coalesce(
      (SELECT id FROM jobs WHERE (state = 'settling') IS TRUE AND available_at <= :now
       AND last_technician_id = :technician ORDER BY available_at, id LIMIT 1 {lock}),
      (SELECT id FROM jobs WHERE (state = 'settling') IS TRUE AND available_at <= :now
       ORDER BY available_at, id LIMIT 1 {lock}),
      (SELECT id FROM jobs WHERE (state = 'queued') IS TRUE AND promised_on <= :today
       ORDER BY promised_on, priority DESC, queued_at, id LIMIT 1 {lock}),
      (SELECT id FROM jobs WHERE (state = 'queued') IS TRUE
       ORDER BY priority DESC, promised_on, queued_at, id LIMIT 1 {lock}))
"""
CLAIM = """
    UPDATE jobs SET state = 'on-bench', move_id = :move, claim_id = :claim, available_at = NULL,
    version = version + 1, updated_at = :now WHERE id = {offer} RETURNING id
"""
HOLD = """
    INSERT INTO claims (id, created_at, job_id, technician_id, last_act_at)
    VALUES (:claim, :now, :job, :technician, :now)
"""
MOVE = """
    INSERT INTO job_moves (id, created_at, job_id, sequence, from_state, to_state, claim_id, technician_id)
    SELECT :move, :now, :job, sequence + 1, to_state, 'on-bench', :claim, :technician
    FROM job_moves WHERE job_id = :job ORDER BY sequence DESC LIMIT 1
"""


def over_http(orders: dict[str, Any]) -> dict[str, Any]:
    """Claim by HTTP, as one technician after the other: each holds as many jobs as the shop allows."""
    got, took, answers = [], [], {}
    connection = http.client.HTTPConnection("127.0.0.1", orders["port"], timeout=300)
    for technician in orders["technicians"]:
        while True:
            key, began = str(uuid.uuid4()), time.perf_counter()
            status, answer = _claim(connection, orders["token"], technician, key)
            took.append(time.perf_counter() - began)
            answers[str(status)] = answers.get(str(status), 0) + 1
            if status != 200:
                break
            got.append(answer["id"])
        if status == 204 or (status == 409 and answer["code"] != "too-many-claims") or status >= 500:
            break
    return {"got": got, "took": took, "answers": answers}


def _claim(connection: http.client.HTTPConnection, token: str, technician: str, key: str) -> tuple[int, Any]:
    connection.request("POST", "/v1/jobs/claims", body=b"{}", headers={
        "Authorization": f"Bearer {token}", "Technician": technician, "Idempotency-Key": key,
        "Content-Type": "application/json"})  # fmt: skip
    response = connection.getresponse()
    body = response.read()
    return response.status, json.loads(body) if body else None


def by_sql(orders: dict[str, Any]) -> dict[str, Any]:
    """Claim by plain SQL: the claim's statement, the claim and the move in one transaction each."""
    session = _Sqlite(orders["database"]) if orders["sqlite"] else _Postgresql(orders["database"])
    got, took = [], []
    while True:
        began = time.perf_counter()
        job = session.claim(orders["technicians"][0], orders["now"])
        took.append(time.perf_counter() - began)
        if job is None:
            return {"got": got, "took": took, "answers": {}}
        got.append(job)


class _Sqlite:
    def __init__(self, path: str) -> None:
        self.connection = sqlite3.connect(path, isolation_level=None, timeout=300)
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
            self.connection.execute(f"PRAGMA {pragma}")
        self.sql = CLAIM.format(offer=OFFER.format(lock=""))

    def claim(self, technician: str, now: str) -> str | None:
        """Take one job."""
        values = {"now": now, "today": now[:10], "technician": uuid.UUID(technician).hex,
                  "claim": uuid.uuid4().hex, "move": uuid.uuid4().hex}  # fmt: skip
        self.connection.execute("BEGIN IMMEDIATE")
        row = self.connection.execute(self.sql, values).fetchone()
        if row is not None:
            values["job"] = row[0]
            self.connection.execute(HOLD, values)
            self.connection.execute(MOVE, values)
        self.connection.execute("COMMIT")
        return row[0] if row else None


class _Postgresql:
    def __init__(self, url: str) -> None:
        import psycopg

        self.connection = psycopg.connect(url, autocommit=True)
        claim = CLAIM.format(offer=OFFER.format(lock="FOR UPDATE SKIP LOCKED"))
        self.claim_sql, self.hold, self.move = (self._named(sql) for sql in (claim, HOLD, MOVE))

    @staticmethod
    def _named(sql: str) -> str:
        for name in ("now", "today", "technician", "claim", "move", "job"):
            kind = {"now": "timestamptz", "today": "date"}.get(name, "uuid")
            sql = sql.replace(f":{name}", f"%({name})s::{kind}")
        return sql

    def claim(self, technician: str, now: str) -> str | None:
        """Take one job."""
        values = {"now": now, "today": now[:10], "technician": technician, "claim": str(uuid.uuid4()),
                  "move": str(uuid.uuid4())}  # fmt: skip
        with self.connection.transaction():
            row = self.connection.execute(self.claim_sql, values).fetchone()
            if row is not None:
                values["job"] = str(row[0])
                self.connection.execute(self.hold, values)
                self.connection.execute(self.move, values)
        return str(row[0]) if row else None


if __name__ == "__main__":
    given = json.load(sys.stdin)
    json.dump((over_http if given["how"] == "http" else by_sql)(given), sys.stdout)

"""A shop at work, with the tables of the first release, brought to this one step by step, loses nothing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from alembic.script import ScriptDirectory
from flask import Flask
from sqlalchemy import MetaData, Table, column, insert, select
from sqlalchemy import table as sql_table

from shimstock_server.app import create_app, open_database
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database import migrate
from shimstock_server.database.engine import WRITES, make_engine
from shimstock_server.database.tables import Base
from shimstock_server.database.words import ResponseKind
from shimstock_server.learning import work_off_marks
from tests.server.clients import Client
from tests.server.conftest import NOON, SECRET, Staff, make_staff
from tests.server.workshop import Workshop, case_one_readings, sheet, through_the_service

Rows = dict[str, list[dict[str, Any]]]
GROWS = {"allowed_moves", "learning_marks"}
"""A later release may know more moves, and have jobs counted anew."""

FILLED = {
    "owners", "instruments", "jobs", "job_moves", "claims", "consents", "quotes", "job_parts", "readings",
    "reading_sheets", "adjustments", "shown_plans", "audit_events", "domain_events", "idempotency_keys",
    "api_keys", "setup_spec_items",
}  # fmt: skip


def test_an_upgrade_loses_nothing(empty_database_url: str) -> None:
    url = empty_database_url
    migrate.upgrade(url)
    with serving(url) as app:
        staff = make_staff(app.extensions["shimstock"].database, FixedClock(NOON))
        waiting, held = work(app, staff)
    made_here = rows_of(url)
    revisions = [script.revision for script in reversed(list(_scripts().walk_revisions()))]
    migrate.downgrade(url, revisions[0])
    kept = rows_of(url)
    filled = {table for table, rows in kept.items() if rows}
    assert filled >= FILLED, FILLED - filled
    for revision in revisions[1:]:
        migrate.upgrade(url, revision)
        lost = missing(kept, rows_of(url))
        assert not lost, f"{revision} lost or changed {lost[:3]}"
        kept = rows_of(url)
    stays = filled - {"learning_marks"}
    assert {table: len(rows) for table, rows in kept.items() if table in stays} == {
        table: len(rows) for table, rows in made_here.items() if table in stays
    }
    with serving(url) as app:
        go_on(app, staff, waiting, held)


def test_what_was_said_of_samples_is_said_of_their_jobs_message(empty_database_url: str) -> None:
    """Once there was a sample for every run of a job; now a job's message is one."""
    url = empty_database_url
    migrate.upgrade(url)
    with serving(url) as app:
        staff = make_staff(app.extensions["shimstock"].database, FixedClock(NOON))
        _, held = work(app, staff)
    migrate.downgrade(url, "0008")
    instrument = rows_of(url)["instruments"][0]
    sample = {
        "kind": ResponseKind.ROD, "job_id": UUID(held["id"]), "instrument_id": UUID(held["instrument_id"]),
        "model_id": UUID(str(instrument["model_id"])), "at": NOON,
        "moved": 0.25, "before": 0.45, "after": 0.35,
        "before_uncertainty": 0.03, "after_uncertainty": 0.03, "settled": True, "alone": True,
        "expected": -0.4, "response": -0.4, "variance": 0.03, "adjustments": [], "doubt": None, "used": True,
    }  # fmt: skip
    runs = [{**sample, "id": UUID(int=number)} for number in (1, 2, 3)]
    said = [
        {"sample_id": UUID(int=number), "reviewed_at": NOON + timedelta(hours=number),
         "key_id": staff.key_ids["bench"], "technician_id": None, "leave_out": number == 1,
         "note": f"run {number}"}
        for number in (1, 2)
    ]  # fmt: skip
    insert_rows(url, {"response_samples": runs, "sample_reviews": said})
    migrate.upgrade(url)
    rows = rows_of(url)
    assert len(rows["response_samples"]) == 3  # until the worker has worked them out anew
    (review,) = rows["sample_reviews"]
    assert (review["leave_out"], review["note"]) == (True, "run 2")
    with serving(url) as app:
        clock = FixedClock(NOON)
        assert work_off_marks(app.extensions["shimstock"].database, Config(secret=SECRET), clock) > 0
        manager, bench = clients(app, staff)
        path = f"/v1/jobs/{held['id']}/reading-sheets"
        ok(bench.post(path, json=sheet(case_one_readings(Workshop(manager, fittings(manager))),
                                       taken_at="2026-03-02T14:00:00Z", confirm_clock=True)))  # fmt: skip
        work_off_marks(app.extensions["shimstock"].database, Config(secret=SECRET), clock)
        (message,) = [each for each in ok(manager.get("/v1/adjustment-responses/samples"))["items"]
                      if each["kind"] == "rod"]  # fmt: skip
        assert (message["used"], message["review_note"]) == (False, "run 2")
        assert ok(manager.get("/v1/adjustment-responses?kind=rod"))["items"] == []


def fittings(manager: Client) -> dict[str, str]:
    """The tools, by the names that readings know them under."""
    tools = {each["name"]: each["id"] for each in ok(manager.get("/v1/tools"))["items"]}
    return {"feelers": tools["Feeler leaves"], "depth": tools["Depth gauge"]}


def insert_rows(url: str, rows: Rows) -> None:
    """Write rows as an earlier release did."""
    engine = make_engine(url)
    try:
        with engine.execution_options(**{WRITES: True}).begin() as connection:
            for name, some in rows.items():
                kept = Base.metadata.tables[name].c
                earlier = sql_table(name, *(column(each, kept[each].type) for each in some[0]))
                connection.execute(insert(earlier), some)
    finally:
        engine.dispose()


def _scripts() -> ScriptDirectory:
    return ScriptDirectory(str(Path(migrate.__file__).parent / "migrations"))


@contextmanager
def serving(url: str) -> Iterator[Flask]:
    """The service of this release on a database."""
    config = Config(secret=SECRET, database_url=url, rate_per_minute=0, pool_size=2)
    database = open_database(config)
    yield create_app(config, FixedClock(NOON), database=database)
    database.dispose()


def clients(app: Flask, staff: Staff) -> tuple[Client, Client]:
    """The manager, and a technician at the bench."""
    manager = Client(app, staff.tokens["manager"], key_id=staff.key_ids["manager"])
    return manager, Client(app, staff.tokens["bench"], technician_id=staff.technician_id)


def work(app: Flask, staff: Staff) -> tuple[dict[str, Any], dict[str, Any]]:
    """Work as on any day; return the job that waits in the queue, and the one on the bench."""
    manager, bench = clients(app, staff)
    shop = through_the_service(manager)
    held = shop.queued_job(priority=9, complaints="buzzes")
    shop.queued_job(priority=8)
    waiting = shop.queued_job(priority=1)
    path = f"/v1/jobs/{held['id']}"
    consent = {"covers": "fret-work", "given": True, "given_by": "Robin Example", "how": "in-person"}
    said = ok(bench.post(f"{path}/consents", json=consent))
    ok(bench.post(f"{path}/consents/{said['id']}/withdrawal", json={"reason": "Robin thinks again"}))
    ok(bench.post(f"{path}/quotes", json={"work": "New nut", "amount": 40}))
    ok(bench.post(f"{path}/parts", json={"name": "Shim", "quantity": 1}))
    held = ok(bench.post("/v1/jobs/claims", json={}))
    ok(bench.post(f"{path}/reading-sheets", json=sheet(case_one_readings(shop))))
    turn(bench, held)
    rests = ok(bench.post("/v1/jobs/claims", json={}))
    ok(bench.open("POST", f"/v1/jobs/{rests['id']}/moves", etag=f'"{rests["version"]}.mm"',
                  json={"to": "settling", "claim": rests["claim"]["id"]}))  # fmt: skip
    return waiting, held


def turn(bench: Client, job: dict[str, Any]) -> None:
    """Turn the rod as the plan says."""
    plan = ok(bench.get(f"/v1/jobs/{job['id']}/recommendation"))
    body = {"id": sheet([])["id"], "claim": job["claim"]["id"], "part": "truss-rod",
            "turns": {"value": 0.125, "unit": "turn"}, "plan": plan["digest"],
            "done_at": "2026-03-02T12:00:00Z"}  # fmt: skip
    ok(bench.post(f"/v1/jobs/{job['id']}/adjustments", json=body))


def go_on(app: Flask, staff: Staff, waiting: dict[str, Any], held: dict[str, Any]) -> None:
    """Work on with the newer release, under the same keys and claims."""
    manager, bench = clients(app, staff)
    turn(bench, held)
    assert ok(bench.post("/v1/jobs/claims", json={}))["id"] == waiting["id"]
    assert ok(manager.get(f"/v1/jobs/{held['id']}"))["complaints"] == "buzzes"
    shop = Workshop(manager, {"instrument": held["instrument_id"]})
    assert shop.queued_job()["number"] == waiting["number"] + 1
    for path in ("/v1/board", "/v1/settling", "/v1/bookings", f"/v1/jobs/{held['id']}/card"):
        ok(manager.get(path))


def ok(answer: Any) -> Any:
    """What was answered, once it is sure that it went well."""
    assert answer.status_code in (200, 201), answer.get_data(as_text=True)
    return answer.get_json()


def rows_of(url: str) -> Rows:
    """Every row of every table, as the database has it."""
    engine = make_engine(url)
    metadata = MetaData()
    try:
        with engine.connect() as connection:
            metadata.reflect(connection)
            return {table.name: _rows(connection, table) for table in metadata.tables.values()}
    finally:
        engine.dispose()


def _rows(connection: Any, table: Table) -> list[dict[str, Any]]:
    return [dict(row) for row in connection.execute(select(table)).mappings()]


def missing(before: Rows, after: Rows) -> list[tuple[str, dict[str, Any]]]:
    """The rows that are not there any more with the values they had, in the columns that both have."""
    gone = []
    for table in set(before) - {"alembic_version"}:
        columns = set(before[table][0]) & set(after[table][0]) if before[table] and after[table] else set()
        left = [{name: row[name] for name in columns} for row in after[table]]
        for row in before[table]:
            if not columns or {name: row[name] for name in columns} not in left:
                gone.append((table, row))
        assert table in GROWS or len(after[table]) == len(before[table]), table
    return gone
